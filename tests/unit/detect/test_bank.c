/* The bank's promises: weak and long is found, and noise that wanders is not held for white. */
#include <math.h>

#include "collector/detect/bank.h"
#include "tests/unit/detect/rig.h"

#define LEARN 60000u

static void feed(struct bank *bank, struct rig *rig, double wander, double level, uint32_t n,
                 uint32_t *raised)
{
    double slow = 0.0;
    for (uint32_t i = 0; i < n; i++) {
        slow += (wander * sqrt(2.0 * 500.0) * rig_normal(rig) - slow) / 500.0;
        double deviation[1] = {rig_normal(rig) + slow + level};
        *raised += bank_take(bank, deviation, deviation[0] * deviation[0], 1);
    }
}

static void learn(struct bank *bank, struct rig *rig, double wander)
{
    uint32_t raised = 0;
    bank_init(bank, 1);
    feed(bank, rig, wander, 0.0, LEARN, &raised);
    assert_int_equal(raised, 0);
    bank_arm(bank, 1.0);
    for (unsigned stat = 0; stat < BANK_STATS; stat++) {
        bank->high[stat] = 5.5;
    }
    bank_set_scale(bank, 1.0);
    bank_restart(bank);
}

static void a_weak_step_is_found_by_a_long_memory(void **state)
{
    (void)state;
    struct rig rig = {.random = 5};
    static struct bank bank;
    uint32_t raised = 0;
    learn(&bank, &rig, 0.0);
    feed(&bank, &rig, 0.0, 0.0, LEARN, &raised);
    assert_int_equal(raised, 0);
    feed(&bank, &rig, 0.0, 0.35, 1500, &raised);
    assert_true(raised > 0);
}

static void noise_that_wanders_is_measured_not_assumed(void **state)
{
    (void)state;
    struct rig rig = {.random = 6};
    static struct bank bank;
    uint32_t raised = 0;
    learn(&bank, &rig, 0.2);
    assert_true(bank.usual[BANK_SUM + 3] > 4.0 * bank.usual[BANK_SUM + 2]);
    feed(&bank, &rig, 0.2, 0.0, LEARN, &raised);
    assert_int_equal(raised, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_weak_step_is_found_by_a_long_memory),
        cmocka_unit_test(noise_that_wanders_is_measured_not_assumed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
