/* The time packet goes to octets and back, and a client refuses what it should.
 * Must never open a socket. */
#include "tests/unit/test.h"

#include "common/ntp_packet.h"

static struct ntp_packet good_answer(void)
{
    return (struct ntp_packet){
        .leap = 0,
        .version = 4,
        .mode = NTP_MODE_SERVER,
        .stratum = 10,
        .poll = 6,
        .precision = -20,
        .root_delay = 0x00000042,
        .root_dispersion = 0x00010000,
        .reference_id = 0x4c4f434c,
        .reference = UINT64_C(0xe900000000000001),
        .origin = UINT64_C(0x1122334455667788),
        .receive = UINT64_C(0xe900000080000000),
        .transmit = UINT64_C(0xe900000080000042),
    };
}

static void a_packet_comes_back_as_it_was_written(void **state)
{
    (void)state;
    struct ntp_packet packet = good_answer();
    uint8_t bytes[NTP_PACKET_SIZE];
    ntp_packet_write(&packet, bytes);
    struct ntp_packet read;
    struct error error = {0};
    assert_int_equal(ntp_packet_read(bytes, sizeof bytes, &read, &error), 0);
    uint8_t again[NTP_PACKET_SIZE];
    ntp_packet_write(&read, again);
    assert_memory_equal(bytes, again, sizeof bytes);
    assert_int_equal(read.precision, -20);
    assert_true(read.transmit == packet.transmit);
}

static void a_short_packet_and_an_unknown_version_are_refused(void **state)
{
    (void)state;
    uint8_t bytes[NTP_PACKET_SIZE] = {0x23};
    struct ntp_packet read;
    struct error error = {0};
    assert_int_equal(ntp_packet_read(bytes, 47, &read, &error), -1);
    assert_error(error, ERROR_FORMAT, "47 octets");
    bytes[0] = 0x03; /* version 0 */
    assert_int_equal(ntp_packet_read(bytes, 48, &read, &error), -1);
    assert_error(error, ERROR_VERSION, "version 0");
    bytes[0] = 0x2b; /* version 5 */
    assert_int_equal(ntp_packet_read(bytes, 48, &read, &error), -1);
    assert_error(error, ERROR_VERSION, "version 5");
}

static void what_follows_the_header_is_ignored(void **state)
{
    (void)state;
    uint8_t bytes[NTP_PACKET_SIZE + 20] = {0xe3};
    struct ntp_packet read;
    assert_int_equal(ntp_packet_read(bytes, sizeof bytes, &read, NULL), 0);
    assert_int_equal(read.leap, 3);
    assert_int_equal(read.mode, NTP_MODE_CLIENT);
}

static void an_answer_is_refused_for_each_reason_of_its_own(void **state)
{
    (void)state;
    struct error error = {0};
    struct ntp_packet good = good_answer();
    uint64_t sent = good.origin;
    assert_int_equal(ntp_packet_check_answer(&good, sent, &error), 0);

    struct ntp_packet bad = good;
    bad.mode = NTP_MODE_CLIENT;
    assert_int_equal(ntp_packet_check_answer(&bad, sent, &error), -1);
    assert_error(error, ERROR_FORMAT, "mode 3");
    assert_int_equal(ntp_packet_check_answer(&good, sent + 1, &error), -1);
    assert_error(error, ERROR_FORMAT, "origin");
    bad = good;
    bad.leap = 3;
    assert_int_equal(ntp_packet_check_answer(&bad, sent, &error), -1);
    assert_error(error, ERROR_STATE, "not set");
    bad = good;
    bad.stratum = 0;
    assert_int_equal(ntp_packet_check_answer(&bad, sent, &error), -1);
    assert_error(error, ERROR_STATE, "refuses");
    bad.stratum = 16;
    assert_int_equal(ntp_packet_check_answer(&bad, sent, &error), -1);
    assert_error(error, ERROR_STATE, "not set");
    bad = good;
    bad.transmit = 0;
    assert_int_equal(ntp_packet_check_answer(&bad, sent, &error), -1);
    assert_error(error, ERROR_FORMAT, "empty timestamp");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_packet_comes_back_as_it_was_written),
        cmocka_unit_test(a_short_packet_and_an_unknown_version_are_refused),
        cmocka_unit_test(what_follows_the_header_is_ignored),
        cmocka_unit_test(an_answer_is_refused_for_each_reason_of_its_own),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
