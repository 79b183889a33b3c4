/* The checksum against published values.
 * Must never be satisfied with a value of our own making. */
#include "tests/unit/test.h"

#include "common/crc.h"

static void crc32c_gives_the_values_of_rfc_3720(void **state)
{
    (void)state;
    uint8_t bytes[32] = {0};
    /* RFC 3720 (2004) appendix B.4, whose octets are printed lowest first. */
    assert_int_equal(crc32c_update(0, bytes, 32), 0x8a9136aa);
    memset(bytes, 0xff, sizeof bytes);
    assert_int_equal(crc32c_update(0, bytes, 32), 0x62a8ab43);
    for (uint8_t i = 0; i < 32; i++) {
        bytes[i] = i;
    }
    assert_int_equal(crc32c_update(0, bytes, 32), 0x46dd794e);
    for (uint8_t i = 0; i < 32; i++) {
        bytes[i] = (uint8_t)(31 - i);
    }
    assert_int_equal(crc32c_update(0, bytes, 32), 0x113fdb5c);
}

static void crc32c_goes_on_where_it_stopped(void **state)
{
    (void)state;
    static const char digits[] = "123456789";
    /* The customary check value of CRC-32C; from memory. */
    assert_int_equal(crc32c_update(0, digits, 9), 0xe3069283);
    for (size_t cut = 0; cut <= 9; cut++) {
        uint32_t crc = crc32c_update(0, digits, cut);
        assert_int_equal(crc32c_update(crc, digits + cut, 9 - cut), 0xe3069283);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(crc32c_gives_the_values_of_rfc_3720),
        cmocka_unit_test(crc32c_goes_on_where_it_stopped),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
