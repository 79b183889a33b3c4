/* Marks that run, come late, are corrected or taken back: what they cover is no alert, counts in no
 * chance, and says so; the rest is as if there were none.
 * Must never depend on a clock. */
#include "tests/unit/correlate/house.h"

#include "collector/correlate/rates.h"
#include "collector/correlate/slides.h"

static struct house house;
static struct heard heard;

static int fresh(void **state)
{
    (void)state;
    house_build(&house, 3);
    memset(&heard, 0, sizeof heard);
    return 0;
}

static void put(struct correlator *correlator, struct mark mark)
{
    struct error error;
    if (correlator_mark(correlator, &mark, &error) != 0) {
        fail_msg("%s", error.text);
    }
}

static struct mark mark_of(int64_t id, double from, double to, double noted, const char *room)
{
    struct mark mark = {.id = id,
                        .start_ns = at_s(from),
                        .end_ns = to < 0 ? MARK_RUNNING_NS : at_s(to),
                        .noted_ns = at_s(noted)};
    snprintf(mark.room, sizeof mark.room, "%s", room);
    return mark;
}

static void tell_pulse(struct correlator *correlator, double seconds)
{
    for (uint32_t node = 0; node < 3; node++) {
        struct disturbance seen = house_see(node, QUANTITY_MAGNETIC, seconds + 0.003 * node);
        seen.settle_step = 15e-8; /* it stands for most of the settling time */
        house_tell(correlator, seen, 0.4);
    }
}

static void advance(struct correlator *correlator, double seconds)
{
    struct error error;
    assert_int_equal(correlator_advance(correlator, at_s(seconds), &error), 0);
}

static const struct coincidence *last(void)
{
    assert_true(heard.count > 0);
    return &heard.finals[heard.count - 1];
}

static void a_running_mark_covers_until_it_is_ended(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    put(correlator, mark_of(1, 10.0, -1.0, 10.0, "hall"));
    tell_pulse(correlator, 60.0);
    advance(correlator, 100.0);
    assert_int_equal(last()->verdict.cause, CAUSE_TEAM);
    assert_int64_equal(last()->mark_id, 1);
    struct mark ended = mark_of(2, 10.0, 110.0, 110.0, "hall");
    ended.corrects = 1;
    put(correlator, ended);
    tell_pulse(correlator, 160.0);
    advance(correlator, 200.0);
    assert_int_equal(last()->verdict.cause, CAUSE_UNEXPLAINED);
    assert_int64_equal(last()->mark_id, 0);
    assert_int_equal(heard.count, 2);
    house_finish(correlator);
}

static void a_mark_typed_late_covers_what_was_final(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    tell_pulse(correlator, 60.0);
    advance(correlator, 900.0);
    assert_int_equal(last()->verdict.cause, CAUSE_UNEXPLAINED);
    struct coincidence before = *last();
    put(correlator, mark_of(1, 50.0, 70.0, 1000.0, ""));
    advance(correlator, 1001.0);
    assert_int_equal(heard.count, 2);
    assert_true(last()->again);
    assert_int64_equal(last()->id, before.id);
    assert_int64_equal(last()->mark_id, 1);
    assert_int_equal(last()->verdict.cause, CAUSE_TEAM);
    assert_non_null(strstr(last()->verdict.reasons[0], "mark 1 (the whole site) covers all 3"));
    assert_non_null(strstr(last()->verdict.reasons[0], "not counted in any chance"));
    assert_int_equal(last()->member_count, 3);
    assert_close(last()->chance.per_night, before.chance.per_night, 0.0);
    house_finish(correlator);
    assert_int_equal(heard.count, 2);
}

static void a_mark_that_is_withdrawn_uncovers_what_it_was_before(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    for (uint32_t node = 0; node < 3; node++) {
        house_tell(correlator, house_see(node, QUANTITY_MOTION, 60.0 + 4.0 * node), 3.0);
    }
    put(correlator, mark_of(1, 50.0, 80.0, 50.0, "hall"));
    advance(correlator, 300.0);
    assert_int_equal(last()->verdict.cause, CAUSE_TEAM);
    struct mark taken_back = mark_of(2, 50.0, 80.0, 400.0, "hall");
    taken_back.corrects = 1;
    taken_back.withdrawn = true;
    put(correlator, taken_back);
    advance(correlator, 401.0);
    assert_true(last()->again);
    assert_int_equal(last()->verdict.cause, CAUSE_PERSON_WALKING);
    assert_int64_equal(last()->mark_id, 0);
    assert_non_null(strstr(last()->verdict.reasons[0], "no mark was made"));
    house_finish(correlator);
}

static void one_way_under_several_marks_is_covered(void **state)
{
    (void)state;
    struct correlator *correlator = house_correlator(&house, &heard);
    for (uint32_t node = 0; node < 3; node++) {
        house_tell(correlator, house_see(node, QUANTITY_MOTION, 60.0 + 4.0 * node), 3.0);
    }
    put(correlator, mark_of(1, 59.0, 61.0, 59.0, "hall"));
    put(correlator, mark_of(2, 64.0, 69.0, 64.0, "kitchen"));
    house_finish(correlator);
    assert_int_equal(last()->verdict.cause, CAUSE_TEAM);
    assert_int64_equal(last()->mark_id, 1);
}

static void another_rooms_mark_covers_nothing_here(void **state)
{
    (void)state;
    house_build(&house, 4);
    struct correlator *correlator = house_correlator(&house, &heard);
    tell_pulse(correlator, 60.0);
    put(correlator, mark_of(1, 50.0, 70.0, 50.0, "pantry"));
    house_finish(correlator);
    assert_int_equal(last()->verdict.cause, CAUSE_UNEXPLAINED);
}

static double rate_of(const struct rates *rates, double at)
{
    struct accidental_stream streams[3 * RATES_TRAITS];
    size_t count = rates_streams(rates, at_s(at), NULL, 0, streams);
    for (size_t i = 0; i < count; i++) {
        if (streams[i].node == 0 && streams[i].trait == SLIDES_MAGNETIC) {
            return streams[i].hz;
        }
    }
    return 0.0;
}

/* 200 onsets of our own in ten minutes of a quiet hour change no rate, however late the mark. */
static void what_a_mark_covers_counts_in_no_rate(void **state)
{
    (void)state;
    struct error error;
    struct away *away = NULL;
    struct rates *rates = NULL;
    struct mark_book book = {0};
    assert_int_equal(away_new(&house.site, &away, &error), 0);
    assert_int_equal(rates_new(&house.site, away, &rates, &error), 0);
    assert_int_equal(rates_watch(rates, 0, "magnetic", HOUSE_T0, &error), 0);
    double still = rate_of(rates, 3600.0);
    for (int i = 0; i < 200; i++) {
        struct disturbance seen = house_see(0, QUANTITY_MAGNETIC, 600.0 + 3.0 * i);
        seen.id = i + 1;
        assert_int_equal(rates_count(rates, &seen, &error), 0);
    }
    assert_true(rate_of(rates, 3600.0) > 20.0 * still);
    struct mark mark = mark_of(1, 600.0, 1200.0, 3000.0, "hall");
    assert_int_equal(mark_book_take(&book, &mark, &error), 0);
    assert_int_equal(away_set_marks(away, &book, &error), 0);
    rates_recount(rates);
    /* As if there had been fifty minutes and nothing in them. */
    assert_true(rate_of(rates, 3600.0) >= still);
    assert_true(rate_of(rates, 3600.0) < 1.4 * still);
    rates_free(rates);
    away_free(away);
    mark_book_free(&book);
}

static void time_under_marks_is_left_out_and_comes_back(void **state)
{
    (void)state;
    struct error error;
    struct away *away = NULL;
    struct mark_book book = {0};
    struct mark marks[] = {mark_of(1, 100.0, 200.0, 100.0, "hall"),
                           mark_of(2, 150.0, 250.0, 1.0, ""),
                           mark_of(3, 400.0, -1.0, 400.0, "passage")};
    assert_int_equal(away_new(&house.site, &away, &error), 0);
    for (size_t i = 0; i < 3; i++) {
        assert_int_equal(mark_book_take(&book, &marks[i], &error), 0);
    }
    assert_int_equal(away_set_marks(away, &book, &error), 0);
    const struct away_list *hall = away_of(away, 0);
    assert_int_equal(hall->count, 1);
    assert_true(away_covers(hall, at_s(98.5)));
    assert_false(away_covers(hall, at_s(97.5)));
    assert_false(away_covers(hall, at_s(500.0)));
    assert_true(away_covers(away_of(away, 1), at_s(500.0)));
    assert_int64_equal(away_between(hall, HOUSE_T0, at_s(1000.0)), 154 * INT64_C(1000000000));
    for (double t = 10.0; t < 400.0; t += 7.0) {
        if (!away_covers(hall, at_s(t))) {
            int64_t live_ns = away_to_live(hall, HOUSE_T0, at_s(t));
            assert_int64_equal(away_from_live(hall, HOUSE_T0, live_ns), at_s(t));
        }
    }
    away_free(away);
    mark_book_free(&book);
}

/* A night of two nodes, one busy with what we did in one hour of six: by slides, the chance of a
 * coincidence at another hour is as if that hour had not been. */
static void slides_leave_out_what_a_mark_covers(void **state)
{
    (void)state;
    double per_night[2];
    for (int marked = 0; marked < 2; marked++) {
        memset(&heard, 0, sizeof heard);
        struct correlator *correlator = house_correlator(&house, &heard);
        struct error error;
        for (uint32_t node = 0; node < 3; node++) {
            for (int i = 0; i < 6; i++) {
                double at = 300.0 + 3421.0 * i + 370.0 * node;
                house_tell(correlator, house_see(node, QUANTITY_MAGNETIC, at), 0.4);
            }
        }
        for (int i = 0; i < 40; i++) {
            house_tell(correlator, house_see(0, QUANTITY_ELECTRIC, 7300.0 + 80.0 * i), 0.4);
            house_tell(correlator, house_see(1, QUANTITY_ELECTRIC, 7303.0 + 80.0 * i), 0.4);
        }
        for (uint32_t node = 0; node < 2; node++) {
            house_tell(correlator, house_see(node, QUANTITY_MAGNETIC, 18000.5 + 0.003 * node), 0.4);
        }
        if (marked) {
            put(correlator, mark_of(1, 7200.0, 10800.0, 20000.0, ""));
        }
        assert_int_equal(correlator_finish(correlator, &error), 0);
        assert_int_equal(correlator_slide(correlator, at_s(21600.0), &error), 0);
        for (size_t i = 0; i < heard.count; i++) {
            if (heard.finals[i].start_ns == at_s(18000.5)) {
                per_night[marked] = heard.finals[i].chance.per_night;
                assert_int_equal(heard.finals[i].chance.method, CHANCE_TIME_SLIDES);
            }
        }
        correlator_free(correlator);
    }
    assert_true(per_night[1] < per_night[0]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(a_running_mark_covers_until_it_is_ended, fresh),
        cmocka_unit_test_setup(a_mark_typed_late_covers_what_was_final, fresh),
        cmocka_unit_test_setup(a_mark_that_is_withdrawn_uncovers_what_it_was_before, fresh),
        cmocka_unit_test_setup(one_way_under_several_marks_is_covered, fresh),
        cmocka_unit_test_setup(another_rooms_mark_covers_nothing_here, fresh),
        cmocka_unit_test_setup(what_a_mark_covers_counts_in_no_rate, fresh),
        cmocka_unit_test_setup(time_under_marks_is_left_out_and_comes_back, fresh),
        cmocka_unit_test_setup(slides_leave_out_what_a_mark_covers, fresh),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
