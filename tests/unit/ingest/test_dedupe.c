/* Each frame once, in order, none skipped while the node still holds it. */
#include "tests/unit/test.h"

#include "collector/ingest/dedupe.h"

#define BOOT_A UINT64_C(0xA)
#define BOOT_B UINT64_C(0xB)

static uint64_t lost;

static enum dedupe_verdict look(struct dedupe *dedupe, uint64_t boot, uint64_t seq, uint64_t oldest)
{
    enum dedupe_verdict verdict = dedupe_look(dedupe, boot, seq, oldest, &lost);
    if (verdict == DEDUPE_AHEAD) {
        dedupe_refuse(dedupe, boot, seq, oldest);
    } else if (verdict != DEDUPE_SEEN) {
        dedupe_take(dedupe, boot, seq);
    }
    return verdict;
}

static void frames_in_order_are_taken_once(void **state)
{
    (void)state;
    struct dedupe dedupe = {0};
    assert_int_equal(look(&dedupe, BOOT_A, 1, 1), DEDUPE_NEW_BOOT);
    assert_int_equal(look(&dedupe, BOOT_A, 2, 1), DEDUPE_NEXT);
    assert_int_equal(look(&dedupe, BOOT_A, 2, 1), DEDUPE_SEEN);
    assert_int_equal(look(&dedupe, BOOT_A, 1, 1), DEDUPE_SEEN);
    assert_int_equal(look(&dedupe, BOOT_A, 3, 2), DEDUPE_NEXT);
}

static void a_hole_that_the_node_still_holds_is_waited_for(void **state)
{
    (void)state;
    struct dedupe dedupe = {0};
    (void)look(&dedupe, BOOT_A, 1, 1);
    assert_int_equal(look(&dedupe, BOOT_A, 3, 1), DEDUPE_AHEAD);
    assert_int_equal(look(&dedupe, BOOT_A, 4, 2), DEDUPE_AHEAD);
    assert_int_equal(look(&dedupe, BOOT_A, 2, 1), DEDUPE_NEXT);
    assert_int_equal(look(&dedupe, BOOT_A, 3, 1), DEDUPE_NEXT);
}

static void frames_that_the_node_gave_up_are_counted_and_passed(void **state)
{
    (void)state;
    struct dedupe dedupe = {0};
    (void)look(&dedupe, BOOT_A, 1, 1);
    (void)look(&dedupe, BOOT_A, 2, 1);
    assert_int_equal(look(&dedupe, BOOT_A, 11, 10), DEDUPE_AHEAD);
    assert_int_equal(look(&dedupe, BOOT_A, 10, 10), DEDUPE_NEXT);
    assert_int_equal(lost, 7);
    assert_int_equal(look(&dedupe, BOOT_A, 11, 10), DEDUPE_NEXT);
    assert_int_equal(lost, 0);
}

static void the_first_frame_heard_must_be_the_oldest_held(void **state)
{
    (void)state;
    struct dedupe dedupe = {0};
    assert_int_equal(look(&dedupe, BOOT_A, 120, 80), DEDUPE_AHEAD);
    assert_int_equal(look(&dedupe, BOOT_A, 80, 80), DEDUPE_NEW_BOOT);
    assert_int_equal(lost, 0); /* may lie in an earlier night */
}

static void a_new_boot_goes_on_and_the_old_one_is_remembered(void **state)
{
    (void)state;
    struct dedupe dedupe = {0};
    (void)look(&dedupe, BOOT_A, 1, 1);
    (void)look(&dedupe, BOOT_A, 2, 1);
    assert_int_equal(look(&dedupe, BOOT_B, 2, 1), DEDUPE_AHEAD);
    assert_int_equal(look(&dedupe, BOOT_B, 1, 1), DEDUPE_NEW_BOOT);
    assert_int_equal(look(&dedupe, BOOT_A, 2, 1), DEDUPE_SEEN);
    assert_int_equal(look(&dedupe, BOOT_A, 3, 1), DEDUPE_STRAY);
    assert_int_equal(look(&dedupe, BOOT_A, 3, 1), DEDUPE_SEEN);
    assert_int_equal(look(&dedupe, BOOT_B, 2, 1), DEDUPE_NEXT);
}

static void a_new_boot_that_lost_its_beginning_says_how_much(void **state)
{
    (void)state;
    struct dedupe dedupe = {0};
    (void)look(&dedupe, BOOT_A, 1, 1);
    assert_int_equal(look(&dedupe, BOOT_B, 5, 5), DEDUPE_NEW_BOOT);
    assert_int_equal(lost, 4);
}

static void many_boots_are_no_trouble(void **state)
{
    (void)state;
    struct dedupe dedupe = {0};
    for (uint64_t boot = 1; boot <= 100; boot++) {
        assert_int_equal(look(&dedupe, boot, 1, 1), DEDUPE_NEW_BOOT);
    }
    assert_int_equal(look(&dedupe, 99, 1, 1), DEDUPE_SEEN);
    assert_int_equal(look(&dedupe, 100 - DEDUPE_PAST_BOOTS, 1, 1), DEDUPE_SEEN);
}

/* Storing a boot says that all of the earlier ones is stored. */
static void a_later_boot_waits_while_frames_of_an_earlier_one_were_refused(void **state)
{
    (void)state;
    struct dedupe dedupe = {0};
    (void)look(&dedupe, BOOT_A, 1, 1);
    assert_int_equal(look(&dedupe, BOOT_A, 3, 1), DEDUPE_AHEAD); /* 2 was lost on its way */
    assert_int_equal(look(&dedupe, BOOT_B, 1, 1), DEDUPE_AHEAD);
    assert_int_equal(look(&dedupe, BOOT_B, 2, 1), DEDUPE_AHEAD);
    assert_int_equal(look(&dedupe, BOOT_A, 2, 2), DEDUPE_NEXT);  /* the node began again */
    assert_int_equal(look(&dedupe, BOOT_B, 1, 1), DEDUPE_AHEAD); /* 3 is still missing */
    assert_int_equal(look(&dedupe, BOOT_A, 3, 2), DEDUPE_NEXT);
    assert_int_equal(look(&dedupe, BOOT_B, 1, 1), DEDUPE_NEW_BOOT);
    assert_int_equal(look(&dedupe, BOOT_B, 2, 1), DEDUPE_NEXT);
}

static void a_later_boot_is_taken_when_the_node_begins_again_with_it(void **state)
{
    (void)state;
    struct dedupe dedupe = {0};
    dedupe_refuse(&dedupe, BOOT_A, 5, 5); /* for want of its channels, say */
    assert_int_equal(look(&dedupe, BOOT_B, 1, 1), DEDUPE_AHEAD);
    assert_int_equal(look(&dedupe, BOOT_B, 2, 1), DEDUPE_AHEAD);
    assert_int_equal(look(&dedupe, BOOT_B, 1, 1), DEDUPE_NEW_BOOT); /* nothing older is held */
    assert_int_equal(look(&dedupe, BOOT_B, 2, 1), DEDUPE_NEXT);
}

/* Whatever the broker drops, doubles and repeats, each frame is taken once and in order. */
static void go_back_and_resend_delivers_all_in_order(void **state)
{
    (void)state;
    struct dedupe dedupe = {0};
    uint64_t taken = 0;
    uint32_t random = 12345;
    for (int round = 0; round < 1000 && taken < 200; round++) {
        uint64_t oldest = taken + 1;
        for (uint64_t seq = oldest; seq < oldest + 64 && seq <= 200; seq++) {
            random = random * 1664525u + 1013904223u;
            int copies = (random >> 16) % 4 == 0 ? 0 : (random >> 20) % 5 == 0 ? 2 : 1;
            for (int i = 0; i < copies; i++) {
                enum dedupe_verdict verdict = look(&dedupe, BOOT_A, seq, oldest);
                if (verdict == DEDUPE_NEXT || verdict == DEDUPE_NEW_BOOT) {
                    assert_int_equal(seq, taken + 1);
                    taken = seq;
                }
            }
        }
    }
    assert_int_equal(taken, 200);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(frames_in_order_are_taken_once),
        cmocka_unit_test(a_hole_that_the_node_still_holds_is_waited_for),
        cmocka_unit_test(frames_that_the_node_gave_up_are_counted_and_passed),
        cmocka_unit_test(the_first_frame_heard_must_be_the_oldest_held),
        cmocka_unit_test(a_new_boot_goes_on_and_the_old_one_is_remembered),
        cmocka_unit_test(a_new_boot_that_lost_its_beginning_says_how_much),
        cmocka_unit_test(many_boots_are_no_trouble),
        cmocka_unit_test(a_later_boot_waits_while_frames_of_an_earlier_one_were_refused),
        cmocka_unit_test(a_later_boot_is_taken_when_the_node_begins_again_with_it),
        cmocka_unit_test(go_back_and_resend_delivers_all_in_order),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
