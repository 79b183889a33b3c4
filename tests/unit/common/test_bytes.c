/* The byte cursors keep within their bounds and give back what was written.
 * Must never depend on the machine's byte order. */
#include "tests/unit/test.h"

#include "common/bytes.h"

static void fixed_numbers_are_little_endian_and_come_back(void **state)
{
    (void)state;
    uint8_t bytes[23];
    struct bytes_writer writer = bytes_writer_of(bytes, sizeof bytes);
    bytes_write_u8(&writer, 0x12);
    bytes_write_u16(&writer, 0x3456);
    bytes_write_u32(&writer, 0x789abcde);
    bytes_write_u64(&writer, UINT64_C(0x0102030405060708));
    bytes_write_i64(&writer, -2);
    assert_false(writer.failed);
    assert_int_equal(writer.length, sizeof bytes);
    const uint8_t first[] = {0x12, 0x56, 0x34, 0xde, 0xbc, 0x9a, 0x78, 0x08, 0x07};
    assert_memory_equal(bytes, first, sizeof first);

    struct bytes_reader reader = bytes_reader_of(bytes, sizeof bytes);
    assert_int_equal(bytes_read_u8(&reader), 0x12);
    assert_int_equal(bytes_read_u16(&reader), 0x3456);
    assert_int_equal(bytes_read_u32(&reader), 0x789abcde);
    assert_true(bytes_read_u64(&reader) == UINT64_C(0x0102030405060708));
    assert_int64_equal(bytes_read_i64(&reader), -2);
    assert_int_equal(bytes_left(&reader), 0);
    assert_false(reader.failed);
}

static void varints_and_zigzags_come_back_at_every_width(void **state)
{
    (void)state;
    for (unsigned shift = 0; shift < 64; shift++) {
        for (int delta = -1; delta <= 1; delta++) {
            uint64_t value = (UINT64_C(1) << shift) + (uint64_t)delta;
            uint8_t bytes[2 * BYTES_VARINT_MAX];
            struct bytes_writer writer = bytes_writer_of(bytes, sizeof bytes);
            bytes_write_varint(&writer, value);
            bytes_write_zigzag(&writer, (int64_t)value);
            assert_false(writer.failed);
            struct bytes_reader reader = bytes_reader_of(bytes, writer.length);
            assert_true(bytes_read_varint(&reader) == value);
            assert_true(bytes_read_zigzag(&reader) == (int64_t)value);
            assert_false(reader.failed);
            assert_int_equal(bytes_left(&reader), 0);
        }
    }
}

static void small_zigzags_take_one_octet(void **state)
{
    (void)state;
    const int64_t values[] = {0, -1, 1, -2, 2, 63, -64};
    const uint8_t octets[] = {0, 1, 2, 3, 4, 126, 127};
    for (size_t i = 0; i < sizeof octets; i++) {
        uint8_t octet = 0xff;
        struct bytes_writer writer = bytes_writer_of(&octet, 1);
        bytes_write_zigzag(&writer, values[i]);
        assert_false(writer.failed);
        assert_int_equal(octet, octets[i]);
    }
}

static bool varint_fails(const uint8_t *bytes, size_t length)
{
    struct bytes_reader reader = bytes_reader_of(bytes, length);
    uint64_t value = bytes_read_varint(&reader);
    return reader.failed && value == 0;
}

static void a_varint_cut_overlong_or_over_64_bits_fails(void **state)
{
    (void)state;
    const uint8_t padded[] = {0x80, 0x00};
    const uint8_t cut[] = {0x80, 0x80};
    const uint8_t too_wide[] = {0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0x02};
    const uint8_t too_long[] = {0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x01};
    assert_true(varint_fails(padded, sizeof padded));
    assert_true(varint_fails(cut, sizeof cut));
    assert_true(varint_fails(too_wide, sizeof too_wide));
    assert_true(varint_fails(too_long, sizeof too_long));
    assert_true(varint_fails(NULL, 0));
}

static void a_failure_sticks_in_the_reader(void **state)
{
    (void)state;
    const uint8_t bytes[] = {1, 2, 3};
    struct bytes_reader reader = bytes_reader_of(bytes, sizeof bytes);
    assert_int_equal(bytes_read_u32(&reader), 0);
    assert_true(reader.failed);
    assert_int_equal(bytes_read_u8(&reader), 0);
    assert_int_equal(bytes_left(&reader), 0);
    assert_null(bytes_read_run(&reader, 0));
}

static void a_failure_sticks_in_the_writer_and_nothing_is_written_past_the_end(void **state)
{
    (void)state;
    uint8_t bytes[4] = {9, 9, 9, 9};
    struct bytes_writer writer = bytes_writer_of(bytes, 3);
    bytes_write_u16(&writer, 0);
    bytes_write_u16(&writer, 0);
    assert_true(writer.failed);
    bytes_write_u8(&writer, 0);
    assert_int_equal(writer.length, 2);
    assert_int_equal(bytes[2], 9);
    assert_int_equal(bytes[3], 9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fixed_numbers_are_little_endian_and_come_back),
        cmocka_unit_test(varints_and_zigzags_come_back_at_every_width),
        cmocka_unit_test(small_zigzags_take_one_octet),
        cmocka_unit_test(a_varint_cut_overlong_or_over_64_bits_fails),
        cmocka_unit_test(a_failure_sticks_in_the_reader),
        cmocka_unit_test(a_failure_sticks_in_the_writer_and_nothing_is_written_past_the_end),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
