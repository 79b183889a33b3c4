/* Network time against RFC 5905 (Mills et al., Network Time Protocol Version 4, 2010).
 * Must never take an expected value from the code under test. */
#include "tests/unit/test.h"

#include "common/clock.h"
#include "common/clock_fit.h"
#include "common/ntp_packet.h"
#include "common/timefmt.h"

#define NTP_1970 UINT64_C(2208988800)
#define DAY_S INT64_C(86400)
#define MJD_1970 INT64_C(40587)

static uint8_t first_octet(uint8_t leap, uint8_t version, uint8_t mode)
{
    struct ntp_packet packet = {.leap = leap, .version = version, .mode = mode};
    uint8_t bytes[NTP_PACKET_SIZE];
    ntp_packet_write(&packet, bytes);
    return bytes[0];
}

/* RFC 5905 sec. 7.3, Figure 8: LI two bits, VN three, mode three, highest first. The octets are the
 * figure's, worked out. */
static void first_octets_are_those_of_figure_8(void **state)
{
    (void)state;
    assert_int_equal(first_octet(0, 4, NTP_MODE_CLIENT), 0x23);
    assert_int_equal(first_octet(0, 4, NTP_MODE_SERVER), 0x24);
    assert_int_equal(first_octet(3, 4, NTP_MODE_SERVER), 0xe4);
    assert_int_equal(first_octet(3, 4, NTP_MODE_CLIENT), 0xe3);
    assert_int_equal(first_octet(0, 3, NTP_MODE_CLIENT), 0x1b);
}

/* RFC 5905 sec. 7.3, Figure 8: order and width of the fields, all highest octet first. */
static void fields_lie_where_figure_8_puts_them(void **state)
{
    (void)state;
    uint8_t bytes[NTP_PACKET_SIZE];
    for (uint8_t i = 0; i < NTP_PACKET_SIZE; i++) {
        bytes[i] = (uint8_t)(0x80 + i);
    }
    bytes[0] = 0xa4; /* LI 2, VN 4, mode 4 */
    struct ntp_packet packet;
    struct error error = {0};
    assert_int_equal(ntp_packet_read(bytes, sizeof bytes, &packet, &error), 0);
    assert_int_equal(packet.leap, 2);
    assert_int_equal(packet.version, 4);
    assert_int_equal(packet.mode, 4);
    assert_int_equal(packet.stratum, 0x81);
    assert_int64_equal(packet.poll, -126);
    assert_int64_equal(packet.precision, -125);
    assert_int_equal(packet.root_delay, 0x84858687);
    assert_int_equal(packet.root_dispersion, 0x88898a8b);
    assert_int_equal(packet.reference_id, 0x8c8d8e8f);
    assert_true(packet.reference == UINT64_C(0x9091929394959697));
    assert_true(packet.origin == UINT64_C(0x98999a9b9c9d9e9f));
    assert_true(packet.receive == UINT64_C(0xa0a1a2a3a4a5a6a7));
    assert_true(packet.transmit == UINT64_C(0xa8a9aaabacadaeaf));
}

/* RFC 5905 sec. 6, Figure 4: interesting historic dates, the rows from 1970 on. */
static void dates_are_those_of_figure_4(void **state)
{
    (void)state;
    assert_true(timefmt_ntp_from_utc(0) == NTP_1970 << 32);
    int64_t last_of_1999 = (51543 - MJD_1970) * DAY_S * NS_PER_S;
    assert_true(timefmt_ntp_from_utc(last_of_1999) == UINT64_C(3155587200) << 32);
    /* 8 Feb 2036: era 1, timestamp 63 104. */
    int64_t era_1 = (INT64_C(64731) - MJD_1970) * DAY_S * NS_PER_S;
    assert_true(timefmt_ntp_from_utc(era_1) == UINT64_C(63104) << 32);
    assert_int64_equal(timefmt_utc_from_ntp(UINT64_C(63104) << 32, era_1), era_1);
    assert_int64_equal(timefmt_utc_from_ntp(UINT64_C(3155587200) << 32, era_1), last_of_1999);
}

/* RFC 5905 sec. 6: differences of timestamps hold over the change of era (2036-02-07T06:28:16Z). */
static void an_exchange_straddles_the_era_of_2036(void **state)
{
    (void)state;
    int64_t wrap_ns = ((INT64_C(1) << 32) - (int64_t)NTP_1970) * NS_PER_S;
    int64_t before_ns = wrap_ns - NS_PER_S / 2;
    int64_t after_ns = wrap_ns + NS_PER_S / 2;
    uint64_t before = timefmt_ntp_from_utc(before_ns);
    uint64_t after = timefmt_ntp_from_utc(after_ns);
    assert_true(before == UINT64_C(0xffffffff80000000));
    assert_true(after == UINT64_C(0x0000000080000000));
    assert_true(after - before == UINT64_C(1) << 32);
    assert_int64_equal(timefmt_utc_from_ntp(after, before_ns), after_ns);
    assert_int64_equal(timefmt_utc_from_ntp(before, after_ns), before_ns);
}

/* RFC 5905 sec. 8: theta = ((T2-T1)+(T3-T4))/2, delta = (T4-T1)-(T3-T2). The example is worked out
 * by hand: a server 250 ms ahead, 4 ms each way, held for 1 ms. */
static void offset_and_delay_follow_section_8(void **state)
{
    (void)state;
    struct clock_exchange even = {
        .t1_ns = 100000000000, .t2_ns = 100254000000, .t3_ns = 100255000000, .t4_ns = 100009000000};
    assert_int64_equal(clock_exchange_offset_ns(&even), 250000000);
    assert_int64_equal(clock_exchange_delay_ns(&even), 8000000);
    /* 2 ms out and 6 ms back: the error is half the difference, within half the delay. */
    struct clock_exchange uneven = even;
    uneven.t2_ns -= 2000000;
    uneven.t3_ns -= 2000000;
    assert_int64_equal(clock_exchange_offset_ns(&uneven), 248000000);
    assert_int64_equal(clock_exchange_delay_ns(&uneven), 8000000);
}

/* RFC 5905 sec. 8: with a frequency difference of 100 ppm and 64 s between T1 and T4 the delay
 * seems to be 6.4 ms less than it is: so a burst ignores what lies below zero. */
static void a_long_exchange_with_100_ppm_seems_to_take_less_than_no_time(void **state)
{
    (void)state;
    struct clock_exchange exchange = {
        .t1_ns = 0, .t2_ns = 0, .t3_ns = 64 * NS_PER_S + 6400000, .t4_ns = 64 * NS_PER_S};
    assert_int64_equal(clock_exchange_delay_ns(&exchange), -6400000);
    struct clock_fitter fitter;
    clock_fitter_init(&fitter, 900 * NS_PER_S, 100000);
    assert_false(clock_fitter_add_burst(&fitter, &exchange, 1));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(first_octets_are_those_of_figure_8),
        cmocka_unit_test(fields_lie_where_figure_8_puts_them),
        cmocka_unit_test(dates_are_those_of_figure_4),
        cmocka_unit_test(an_exchange_straddles_the_era_of_2036),
        cmocka_unit_test(offset_and_delay_follow_section_8),
        cmocka_unit_test(a_long_exchange_with_100_ppm_seems_to_take_less_than_no_time),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
