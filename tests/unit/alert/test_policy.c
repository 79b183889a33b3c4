/* Which coincidences are raised: each rule by itself, and each coincidence once. */
#include "tests/unit/alert/alert_for_tests.h"

#include "collector/alert/policy.h"

static struct alert_policy policy;
static struct coincidence coincidence;

static int setup(void **state)
{
    (void)state;
    alert_policy_init(&policy, 0.1);
    make_coincidence(&coincidence);
    return 0;
}

static void a_rare_unexplained_unmarked_one_of_two_nodes_is_raised(void **state)
{
    (void)state;
    assert_int_equal(alert_policy_judge(&policy, &coincidence), ALERT_RAISE);
    assert_true(coincidence.alert);
}

static void a_mark_a_cause_one_node_or_a_high_rate_hold_it(void **state)
{
    (void)state;
    struct coincidence changed = coincidence;
    changed.mark_id = 3;
    assert_int_equal(alert_policy_judge(&policy, &changed), ALERT_MARKED);
    changed = coincidence;
    changed.verdict.cause = CAUSE_MAINS_SWITCHING;
    assert_int_equal(alert_policy_judge(&policy, &changed), ALERT_CAUSE);
    changed = coincidence;
    changed.node_count = 1; /* three quantities at one node are no second witness */
    assert_int_equal(alert_policy_judge(&policy, &changed), ALERT_ALONE);
    changed = coincidence;
    changed.chance.per_night = 0.1; /* the limit itself is not below the limit */
    changed.alert = true;
    assert_int_equal(alert_policy_judge(&policy, &changed), ALERT_LIKELY);
    assert_false(changed.alert);
    changed.chance.per_night = NAN;
    assert_int_equal(alert_policy_judge(&policy, &changed), ALERT_LIKELY);
    for (int i = ALERT_RAISE; i <= ALERT_LIKELY; i++) {
        assert_true(strlen(alert_decision_text((enum alert_decision)i)) > 5);
    }
}

static void the_same_coincidence_is_raised_once_and_stays_so(void **state)
{
    (void)state;
    coincidence.final = false;
    assert_int_equal(alert_policy_judge(&policy, &coincidence), ALERT_RAISE);
    coincidence.alert = false;
    assert_int_equal(alert_policy_judge(&policy, &coincidence), ALERT_HELD);
    assert_true(coincidence.alert);
    coincidence.final = true;
    coincidence.verdict.cause = CAUSE_DRAUGHT; /* judged otherwise in the end: it was raised */
    assert_int_equal(alert_policy_judge(&policy, &coincidence), ALERT_HELD);
    assert_true(coincidence.alert);
    coincidence.again = true;
    coincidence.mark_id = 3; /* the team says so only now */
    coincidence.verdict.cause = CAUSE_TEAM;
    assert_int_equal(alert_policy_judge(&policy, &coincidence), ALERT_UNDONE);
    assert_false(coincidence.alert);
}

static void one_that_becomes_rare_as_it_grows_is_raised_then(void **state)
{
    (void)state;
    coincidence.final = false;
    coincidence.chance.per_night = 3;
    assert_int_equal(alert_policy_judge(&policy, &coincidence), ALERT_LIKELY);
    coincidence.chance.per_night = 0.01;
    assert_int_equal(alert_policy_judge(&policy, &coincidence), ALERT_RAISE);
}

static void very_many_open_ones_do_no_harm(void **state)
{
    (void)state;
    coincidence.final = false;
    for (int64_t id = 1; id <= 3 * ALERT_OPEN_MAX; id++) {
        coincidence.id = id;
        assert_int_equal(alert_policy_judge(&policy, &coincidence), ALERT_RAISE);
        assert_int_equal(alert_policy_judge(&policy, &coincidence), ALERT_HELD);
    }
    assert_int_equal(policy.raised_count, ALERT_OPEN_MAX);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(a_rare_unexplained_unmarked_one_of_two_nodes_is_raised, setup),
        cmocka_unit_test_setup(a_mark_a_cause_one_node_or_a_high_rate_hold_it, setup),
        cmocka_unit_test_setup(the_same_coincidence_is_raised_once_and_stays_so, setup),
        cmocka_unit_test_setup(one_that_becomes_rare_as_it_grows_is_raised_then, setup),
        cmocka_unit_test_setup(very_many_open_ones_do_no_harm, setup),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
