/* A device's own rate, wherever the kernel keeps the setting: Documentation/ABI/testing/
 * sysfs-bus-iio, "sampling_frequency" and "sampling_frequency_available". */
#include "tests/unit/drivers/kernel_tree.h"

#include "node/drivers/iio_rate.h"

#define DEVICE "bus/iio/devices/iio:device0/"
/* What is written stands before the rest of it, as nothing shortens a plain file. */
#define UNSET "        "
#define TRIGGER "bus/iio/devices/trigger3/"

static struct iio_files files;

static int start(void **state)
{
    (void)state;
    tree_begin();
    files = (struct iio_files){
        .patience_ms = 5000, .count = 3, .names = {"in_magn_x", "in_magn_y", "in_magn_z"}};
    snprintf(files.root, sizeof files.root, "%s", tree_root);
    snprintf(files.folder, sizeof files.folder, "%s/bus/iio/devices/iio:device0", tree_root);
    tree_put(DEVICE "name", "compass\n");
    return 0;
}

static int end(void **state)
{
    (void)state;
    return tree_end();
}

static double set(const char *trigger, double wanted_hz)
{
    struct error error;
    double rate_hz = wanted_hz;
    if (iio_rate_set(&files, trigger, &rate_hz, &error)) {
        fail_msg("%s", error.text);
    }
    return rate_hz;
}

static void the_setting_is_found_at_each_of_its_places(void **state)
{
    (void)state;
    static const char *const places[] = {DEVICE "buffer/sampling_frequency",
                                         DEVICE "sampling_frequency",
                                         DEVICE "in_magn_sampling_frequency"};
    /* From the last place that is looked at to the first: the nearer one counts. */
    for (int i = 0; i < 3; i++) {
        tree_put(places[i], UNSET);
        assert_close(set("", 100 + i), 100 + i, 1e-9);
        tree_has(places[i], i == 0 ? "100" : i == 1 ? "101" : "102");
    }
    tree_has(places[1], "101"); /* what was there before stays */
}

static void each_axis_may_have_its_own(void **state)
{
    (void)state;
    tree_put(DEVICE "in_magn_x_sampling_frequency", UNSET);
    tree_put(DEVICE "in_magn_y_sampling_frequency", UNSET);
    tree_put(DEVICE "in_magn_z_sampling_frequency", UNSET);
    assert_close(set("", 75), 75, 1e-9);
    tree_has(DEVICE "in_magn_z_sampling_frequency", "75");
}

static void of_the_rates_on_offer_the_nearest_is_taken(void **state)
{
    (void)state;
    tree_put(DEVICE "sampling_frequency", UNSET);
    tree_put(DEVICE "sampling_frequency_available", "0.75 1.5 3 7.5 15 30 75\n");
    assert_close(set("", 50), 30, 1e-9);
    assert_close(set("", 1000), 75, 1e-9);
    tree_put(DEVICE "sampling_frequency_available", "[1 0.5 400]\n");
    tree_put(DEVICE "sampling_frequency", UNSET);
    assert_close(set("", 33.3), 33.5, 1e-9);
    tree_put(DEVICE "sampling_frequency", UNSET);
    assert_close(set("", 5000), 400, 1e-9);
    tree_put(DEVICE "sampling_frequency_available", "nonsense\n");
    tree_put(DEVICE "sampling_frequency", UNSET);
    assert_close(set("", 20), 20, 1e-9);
}

static void a_trigger_of_its_own_decides(void **state)
{
    (void)state;
    tree_put(DEVICE "sampling_frequency", UNSET);
    tree_put("bus/iio/devices/trigger0/name", "another\n");
    tree_put("bus/iio/devices/trigger0/sampling_frequency", UNSET);
    tree_put(TRIGGER "name", "tick\n");
    tree_put(TRIGGER "sampling_frequency", UNSET);
    tree_put(TRIGGER "sampling_frequency_available", "10 20 40\n");
    assert_close(set("tick", 25), 20, 1e-9);
    tree_has(DEVICE "sampling_frequency", "25");
    tree_has(TRIGGER "sampling_frequency", "20");
    tree_has("bus/iio/devices/trigger0/sampling_frequency", UNSET);
}

static void without_a_setting_what_was_asked_for_stays(void **state)
{
    (void)state;
    assert_close(set("", 50), 50, 1e-9);
    assert_close(set("no-such-trigger", 50), 50, 1e-9);
}

static void what_can_t_be_set_is_told_with_what_can(void **state)
{
    (void)state;
    struct error error;
    char path[512];
    double rate_hz = 50;
    snprintf(path, sizeof path, "%s/" DEVICE "sampling_frequency", tree_root);
    tree_put(DEVICE "sampling_frequency_available", "0.5 60\n");
    assert_int_equal(mkdir(path, 0700), 0); /* can't be written */
    assert_int_equal(iio_rate_set(&files, "", &rate_hz, &error), -1);
    assert_error(error, ERROR_IO, "it takes 0.5 60");
}

int main(void)
{
#define TEST(name) cmocka_unit_test_setup_teardown(name, start, end)
    const struct CMUnitTest tests[] = {
        TEST(the_setting_is_found_at_each_of_its_places),
        TEST(each_axis_may_have_its_own),
        TEST(of_the_rates_on_offer_the_nearest_is_taken),
        TEST(a_trigger_of_its_own_decides),
        TEST(without_a_setting_what_was_asked_for_stays),
        TEST(what_can_t_be_set_is_told_with_what_can),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
