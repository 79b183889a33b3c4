/* Frames survive any line, and nothing that is no frame passes.
 * Must never depend on the firmware's chip. Run by ctest. */
#include "tests/unit/test.h"

#include "node/board/report.h"

static uint8_t whole[FRAME_LINE_MAX];

static struct frame_reader new_reader(void)
{
    return (struct frame_reader){.bytes = whole, .size = sizeof whole};
}

/* "The CRC-16 of the ASCII digits 123456789 by this polynomial and start is 0x29b1": from memory
 * (the catalogue's check value of CRC-16/IBM-3740). */
static void the_checksum_has_its_published_check_value(void **state)
{
    (void)state;
    assert_int_equal(frame_crc((const uint8_t *)"123456789", 9), 0x29b1);
}

static void every_length_with_zeros_anywhere_comes_back(void **state)
{
    (void)state;
    unsigned draw = 7;
    for (unsigned length = 1; length <= FRAME_BYTES_MAX; length++) {
        for (int kind = 0; kind < 3; kind++) {
            uint8_t line[FRAME_LINE_MAX];
            uint8_t told[FRAME_BYTES_MAX];
            for (unsigned i = 0; i < length; i++) {
                draw = draw * 1103515245u + 12345u;
                told[i] = kind == 0 ? 0 : kind == 1 ? 0xff : (uint8_t)((draw >> 16) % 3u);
            }
            memcpy(line + 1, told, length);
            uint8_t bytes = frame_encode(line, (uint8_t)length);
            assert_int_equal(bytes, length + 4);
            struct frame_reader reader = new_reader();
            for (uint8_t i = 0; i + 1u < bytes; i++) {
                assert_int_not_equal(line[i], 0);
                assert_int_equal(frame_put(&reader, line[i]), FRAME_NONE);
            }
            assert_int_equal(frame_put(&reader, line[bytes - 1]), FRAME_WHOLE);
            assert_int_equal(reader.length, length);
            assert_memory_equal(reader.bytes, told, length);
        }
    }
}

static void a_frame_that_is_too_long_is_refused(void **state)
{
    (void)state;
    uint8_t line[FRAME_LINE_MAX + 8] = {0};
    assert_int_equal(frame_encode(line, FRAME_BYTES_MAX + 1), 0);
}

static void any_flipped_bit_is_noticed_and_the_next_frame_is_whole(void **state)
{
    (void)state;
    for (unsigned bit = 0; bit < 8 * 14; bit++) {
        uint8_t line[FRAME_LINE_MAX] = {0, 4, 7, 0, 1, 2, 3, 4, 5, 6, 7};
        uint8_t bytes = frame_encode(line, 10);
        uint8_t next[FRAME_LINE_MAX] = {0, 9, 9};
        uint8_t next_bytes = frame_encode(next, 2);
        line[bit / 8] = (uint8_t)(line[bit / 8] ^ 1u << bit % 8);
        struct frame_reader reader = new_reader();
        int good = 0;
        for (uint8_t i = 0; i < bytes; i++) {
            good += frame_put(&reader, line[i]) == FRAME_WHOLE;
        }
        assert_int_equal(good, 0);
        (void)frame_put(&reader, 0); /* where the closing zero itself was hit */
        for (uint8_t i = 0; i < next_bytes; i++) {
            good += frame_put(&reader, next[i]) == FRAME_WHOLE;
        }
        assert_int_equal(good, 1);
        assert_int_equal(reader.bytes[0], 9);
    }
}

static void noise_never_overruns_a_small_reader(void **state)
{
    (void)state;
    uint8_t small[8 + 1] = {[8] = 0x5a};
    struct frame_reader reader = {.bytes = small, .size = 8};
    unsigned draw = 3;
    for (int i = 0; i < 200000; i++) {
        draw = draw * 1103515245u + 12345u;
        (void)frame_put(&reader, (uint8_t)((draw >> 16) % 40u ? draw >> 20 : 0));
        assert_int_equal(small[8], 0x5a);
    }
}

static void every_kind_of_report_comes_back(void **state)
{
    (void)state;
    struct report reports[8];
    memset(reports, 0, sizeof reports);
    for (int i = 0; i < 8; i++) {
        reports[i].seq = (uint16_t)(65530 + i);
        reports[i].tick = 0xfffffff0u + (uint32_t)i;
        reports[i].kind = (uint8_t)(i + 1);
    }
    reports[7].kind = REPORT_COMMAND;
    reports[0].as.hello = (struct report_hello){1, RESET_WATCHDOG, 3, 1, 513, 250000, 250, 3250};
    struct report_samples *samples = &reports[1].as.samples;
    samples->count = REPORT_BATCH;
    samples->high = 1023;
    samples->high_at = 7999;
    samples->low_at = 3;
    for (unsigned i = 0; i < REPORT_BATCH; i++) {
        samples->values[i] = (uint16_t)(i * 33u);
    }
    reports[2].as.edge = (struct report_edge){true, 4};
    reports[3].as.magnetic = (struct report_magnetic){MAGNETIC_SATURATED, {-4096, 2047, -1}};
    reports[4].as.temperature = (struct report_temperature){TEMPERATURE_GOOD, -161};
    reports[5].as.supply = (struct report_supply){225, 1000};
    reports[6].as.answer = (struct report_answer){COMMAND_PING, 77};
    reports[7].as.answer = (struct report_answer){COMMAND_SOUND, 9};
    for (int i = 0; i < 8; i++) {
        uint8_t frame[FRAME_BYTES_MAX];
        struct report back;
        memset(&back, 0, sizeof back);
        uint8_t length = report_pack(&reports[i], frame);
        assert_true(length <= FRAME_BYTES_MAX);
        assert_true(report_unpack(frame, length, &back));
        assert_memory_equal(&back.as, &reports[i].as,
                            i == 1 ? sizeof back.as.samples : sizeof back.as.magnetic);
        assert_int_equal(back.tick, reports[i].tick);
        assert_int_equal(back.seq, reports[i].seq);
        for (uint8_t shorter = 0; shorter < length; shorter++) {
            assert_false(report_unpack(frame, shorter, &back));
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_checksum_has_its_published_check_value),
        cmocka_unit_test(every_length_with_zeros_anywhere_comes_back),
        cmocka_unit_test(a_frame_that_is_too_long_is_refused),
        cmocka_unit_test(any_flipped_bit_is_noticed_and_the_next_frame_is_whole),
        cmocka_unit_test(noise_never_overruns_a_small_reader),
        cmocka_unit_test(every_kind_of_report_comes_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
