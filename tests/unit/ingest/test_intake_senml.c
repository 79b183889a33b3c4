/* SenML packs of home-made nodes: exact, unit-checked, once, in time. RFC 8428 "Sensor Measurement
 * Lists (SenML)", 2018. */
#include "tests/unit/ingest/intake_fakes.h"

static const char topic[] = "roomwake/lodge/n1/senml";

static void names_resolve_to_channels_and_values_stay_exact(void **state)
{
    (void)state;
    send_text(topic, "[{\"bn\":\"urn:dev:mac:0024befffe804ff1:\",\"bt\":1709330399,"
                     "\"n\":\"temperature\",\"u\":\"Cel\",\"v\":21.25}]");
    if (noted.frame_count != 1) {
        fail_msg("%s", noted.last_warning);
    }
    assert_int64_equal(noted.frames[0].first_ns, T0_NS - NS_PER_S);
    assert_int_equal(noted.frames[0].id.boot, 0x5E);
    assert_int_equal(noted.frames[0].id.seq, 1);
    assert_int_equal(noted.channels[0].step.exponent, -3);
    assert_int_equal(noted.pushed[0].encoding, BLOCK_INT32);
    send_text(topic, "[{\"n\":\"house/temperature\",\"t\":1709330400,\"v\":21.5}]");
    send_text(topic, "[{\"n\":\"temperature\",\"t\":1709330400.5,\"v\":21.51234567}]");
    assert_int_equal(noted.frame_count, 3);
    assert_int_equal(noted.pushed[2].encoding, BLOCK_DECIMAL); /* finer than the step */
    assert_int64_equal(noted.clock_sds[0], 2000000);           /* the site file's */
}

static void motion_may_be_a_boolean(void **state)
{
    (void)state;
    send_text(topic, "[{\"n\":\"motion\",\"t\":1709330400,\"vb\":true}]");
    assert_int_equal(noted.push_count, 1);
    assert_int_equal(noted.pushed[0].channel, 1);
    assert_int64_equal(noted.pushed[0].period_ps, 0);
}

static void times_from_arrival_carry_more_uncertainty(void **state)
{
    (void)state;
    send_text(topic, "[{\"n\":\"temperature\",\"v\":21}]");
    assert_int_equal(noted.frame_count, 1);
    assert_int64_equal(noted.frames[0].first_ns, T0_NS);
    assert_int64_equal(noted.clock_sds[0], 100000000);
}

static void even_records_make_an_even_block_and_odd_ones_keep_their_times(void **state)
{
    (void)state;
    send_text(topic, "[{\"bn\":\"temperature\",\"bt\":1709330390,\"v\":1},{\"t\":1,\"v\":2},"
                     "{\"t\":2,\"v\":3}]");
    assert_int_equal(noted.push_count, 1);
    assert_int_equal(noted.pushed[0].count, 3);
    assert_int64_equal(noted.pushed[0].period_ps, PS_PER_S);
    now_ns += 10 * NS_PER_S;
    send_text(topic, "[{\"bn\":\"temperature\",\"bt\":1709330405,\"v\":1},{\"t\":1,\"v\":2},"
                     "{\"t\":2.5,\"v\":3}]");
    assert_int_equal(noted.push_count, 2);
    assert_int64_equal(noted.pushed[1].period_ps, 0);
    assert_int64_equal(noted.pushed_last[1], T0_NS + INT64_C(7500000000));
}

static void a_pack_with_a_wrong_record_is_refused_whole(void **state)
{
    (void)state;
    static const char *const packs[] = {
        "[{\"n\":\"temperature\",\"u\":\"K\",\"v\":294}]",
        "[{\"n\":\"temperature\",\"v\":21},{\"n\":\"temperature\",\"v\":22}]",
        "[{\"n\":\"temperature\",\"vs\":\"warm\"}]",
        "[{\"n\":\"temperature\",\"t\":1709330600,\"v\":21}]", /* 200 s ahead */
        "[{\"n\":\"temperature\",\"v\":21},{\"n\":\"motion\",\"vs\":\"x\"}]",
        "[{\"n\":\"temperature\",\"v\":",
        "{}",
    };
    for (size_t i = 0; i < sizeof packs / sizeof packs[0]; i++) {
        send_text(topic, packs[i]);
        if (noted.frame_count + noted.push_count + noted.channels_put != 0) {
            fail_msg("taken: %s", packs[i]);
        }
    }
    assert_int_equal(intake_get_counts(intake)->malformed, sizeof packs / sizeof packs[0]);
}

static void records_of_no_channel_are_skipped_and_said(void **state)
{
    (void)state;
    send_text(topic, "[{\"n\":\"temperature\",\"v\":21},{\"n\":\"mytemperature\",\"v\":5}]");
    assert_int_equal(noted.frame_count, 1);
    assert_int_equal(noted.frames[0].samples, 1);
    assert_int_equal(intake_get_counts(intake)->senml_skipped, 1);
    assert_non_null(strstr(noted.last_warning, "mytemperature"));
}

static void a_pack_delivered_twice_is_stored_once(void **state)
{
    (void)state;
    const char *pack = "[{\"bn\":\"temperature\",\"bt\":1709330390,\"v\":1},{\"t\":1,\"v\":2}]";
    send_text(topic, pack);
    send_text(topic, pack);
    assert_int_equal(noted.frame_count, 1);
    assert_int_equal(intake_get_counts(intake)->duplicates, 1);
    /* overlapping packs: only the new record counts */
    send_text(topic, "[{\"bn\":\"temperature\",\"bt\":1709330391,\"v\":2},{\"t\":1,\"v\":3}]");
    assert_int_equal(noted.frame_count, 2);
    assert_int_equal(noted.frames[1].samples, 1);
}

static void the_node_is_advanced_by_the_clock_and_older_records_are_late(void **state)
{
    (void)state;
    send_text(topic, "[{\"n\":\"temperature\",\"v\":21}]");
    assert_int64_equal(noted.advanced_ns[0], T0_NS - INTAKE_SENML_LAG_NS);
    now_ns += 5 * NS_PER_S;
    intake_tick(intake);
    assert_int64_equal(noted.advanced_ns[0], T0_NS + 5 * NS_PER_S - INTAKE_SENML_LAG_NS);
    send_text(topic, "[{\"n\":\"motion\",\"t\":1709330402,\"v\":1}]"); /* 3 s ago */
    assert_int_equal(noted.frame_count, 2);
    assert_true(noted.frames[1].late);
    assert_int_equal(noted.push_count, 1);
}

static void a_node_that_sends_in_batches_is_given_the_time(void **state)
{
    (void)state;
    for (int i = 0; i < 5; i++) { /* every 5 s the last five seconds */
        char pack[256];
        (void)snprintf(pack, sizeof pack,
                       "[{\"bn\":\"temperature\",\"bt\":%d,\"v\":1},{\"t\":1,\"v\":2},"
                       "{\"t\":2,\"v\":3},{\"t\":3,\"v\":4},{\"t\":4,\"v\":5}]",
                       1709330395 + 5 * i);
        send_text(topic, pack);
        for (int k = 0; k < 5; k++) {
            now_ns += NS_PER_S;
            intake_tick(intake);
        }
    }
    assert_int_equal(noted.frame_count, 5);
    assert_int_equal(noted.push_count, 5);
    assert_int_equal(intake_get_counts(intake)->late, 0);
}

static void a_node_that_said_hello_sends_no_senml(void **state)
{
    (void)state;
    send_text("roomwake/lodge/n1/hello",
              "{\"version\":1,\"boot\":\"00000000000000a1\",\"software\":\"0.1.0\",\"channels\":["
              "{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":1,\"step\":\"0.01\","
              "\"offset\":\"0\"}]}");
    send_text(topic, "[{\"n\":\"temperature\",\"v\":21}]");
    assert_int_equal(noted.frame_count, 0);
    assert_int_equal(intake_get_counts(intake)->malformed, 1);
}

static void a_hole_in_the_records_is_named(void **state)
{
    (void)state;
    send_text(topic, "[{\"n\":\"temperature\",\"v\":21}]");
    now_ns += 2 * NS_PER_S;
    send_text(topic, "[{\"n\":\"temperature\",\"v\":21}]");
    assert_int_equal(noted.gap_count, 0);
    now_ns += 20 * NS_PER_S;
    send_text(topic, "[{\"n\":\"temperature\",\"v\":21}]");
    assert_int_equal(noted.gap_count, 1);
    assert_string_equal(noted.gaps[0].reason, "sampling stopped: temperature");
    assert_int64_equal(noted.gaps[0].start_ns, T0_NS + 2 * NS_PER_S);
}

static void records_that_the_disk_could_not_take_are_said(void **state)
{
    (void)state;
    send_text(topic, "[{\"n\":\"temperature\",\"v\":21}]");
    noted.full_after = 0;
    now_ns += NS_PER_S;
    send_text(topic, "[{\"n\":\"temperature\",\"v\":22}]");
    assert_non_null(strstr(noted.last_warning, "senml records lost"));
    assert_int_equal(intake_get_counts(intake)->full, 1);
    now_ns += 10 * NS_PER_S;
    send_text(topic, "[{\"n\":\"temperature\",\"v\":23}]");
    assert_int_equal(noted.gap_count, 1);
    assert_non_null(strstr(noted.gaps[0].reason, "disk was too slow"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_INTAKE(names_resolve_to_channels_and_values_stay_exact),
        WITH_INTAKE(motion_may_be_a_boolean),
        WITH_INTAKE(times_from_arrival_carry_more_uncertainty),
        WITH_INTAKE(even_records_make_an_even_block_and_odd_ones_keep_their_times),
        WITH_INTAKE(a_pack_with_a_wrong_record_is_refused_whole),
        WITH_INTAKE(records_of_no_channel_are_skipped_and_said),
        WITH_INTAKE(a_pack_delivered_twice_is_stored_once),
        WITH_INTAKE(the_node_is_advanced_by_the_clock_and_older_records_are_late),
        WITH_INTAKE(a_node_that_sends_in_batches_is_given_the_time),
        WITH_INTAKE(a_node_that_said_hello_sends_no_senml),
        WITH_INTAKE(a_hole_in_the_records_is_named),
        WITH_INTAKE(records_that_the_disk_could_not_take_are_said),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
