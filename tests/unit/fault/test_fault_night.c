/* That a night's writer and reader end in an error, whichever allocation fails, and that what is
 * called written is there. */
#include "tests/unit/fault/fault.h"

#include "tests/unit/night/fixture.h"

#include "collector/night/window.h"

static int put_all(struct night_writer *writer, const struct fixture *fixture, struct error *error)
{
    const struct site_node *node = &fixture->site->nodes[0];
    const struct gap gap = {0, FIXTURE_START_NS, FIXTURE_START_NS + 1, "node was off"};
    const struct mark mark = {.id = 1, .start_ns = FIXTURE_START_NS, .text = "steps"};
    const struct disturbance seen = {.id = 1, .quantity_text = "magnetic", .unit = "T"};
    static struct coincidence together = {.id = 1, .member_count = 1, .order_count = 1};
    together.members[0] = seen;
    int32_t counts[200] = {1, 2, 3};
    if (night_put_channels(writer, 0, FIXTURE_BOOT, node->channels, node->channel_count, error)) {
        return -1;
    }
    for (int64_t second = 0; second < 3; second++) {
        if (fixture_put_second(writer, 0, second, counts, false, error)) {
            return -1;
        }
    }
    return night_put_clock(writer, 0, FIXTURE_START_NS, 1000, error) ||
                   night_put_gap(writer, &gap, error) || night_put_mark(writer, &mark, error) ||
                   night_put_disturbance(writer, 1, &seen, error) ||
                   night_put_coincidence(writer, 1, &together, error) ||
                   night_put_alert(writer, 1, 1, FIXTURE_START_NS, "hall", error) ||
                   night_put_notice(writer, 1, 0, "magnetic", FIXTURE_START_NS, "learnt", error) ||
                   night_put_log(writer, FIXTURE_START_NS, "info", "began", error)
               ? -1
               : 0;
}

static int record(void *context, struct error *error)
{
    const struct fixture *fixture = context;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = NULL;
    (void)unlink(fixture->night);
    if (night_writer_open(&settings, NULL, NULL, &writer, error)) {
        return -1;
    }
    if (put_all(writer, fixture, error)) {
        night_writer_abandon(writer);
        return -1;
    }
    if (night_writer_close(writer, FIXTURE_START_NS + 3 * NS_PER_S, error)) {
        return -1;
    }
    fault_over();
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM frame"), 3);
    assert_int_equal(fixture_query(fixture, "SELECT count(*) FROM coincidence_member"), 1);
    return 0;
}

static void a_night_is_written_or_its_writer_says_why_not(void **state)
{
    fault_each(record, *state);
}

static int count_gap(void *context, const struct gap *gap)
{
    (void)gap;
    ++*(size_t *)context;
    return 0;
}

static int count_coincidence(void *context, const struct coincidence *coincidence)
{
    *(size_t *)context += coincidence->member_count;
    return 0;
}

static int read_blocks(struct night_reader *reader, struct error *error)
{
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    uint64_t samples = 0;
    int more = 0;
    if (night_blocks_open(reader, SIZE_MAX, INT64_MIN, INT64_MAX, &cursor, error)) {
        return -1;
    }
    while ((more = night_blocks_next(cursor, &row, error)) == 1) {
        samples += row.block.count;
    }
    night_blocks_close(cursor);
    if (more == 0) {
        assert_int_equal(samples, 600);
    }
    return more;
}

static int read_all(struct night_reader *reader, struct error *error)
{
    struct site *site = NULL;
    struct night_info info;
    struct night_pixel pixels[4];
    size_t found = 0;
    if (night_read_info(reader, &info, error) || night_read_site(reader, 0, &site, error)) {
        return -1;
    }
    site_free(site);
    if (read_blocks(reader, error) || night_each_gap(reader, count_gap, &found, error) ||
        night_each_coincidence(reader, 0, count_coincidence, &found, error) ||
        night_read_window(reader, 0, "magnetic.x", FIXTURE_START_NS,
                          FIXTURE_START_NS + 3 * NS_PER_S, 4, pixels, error)) {
        return -1;
    }
    assert_int_equal(found, 2);
    assert_true(pixels[0].count > 0);
    return 0;
}

static int read_back(void *context, struct error *error)
{
    struct night_reader *reader = NULL;
    const struct fixture *fixture = context;
    if (night_reader_open(fixture->night, &reader, error)) {
        return -1;
    }
    int result = read_all(reader, error);
    night_reader_close(reader);
    return result;
}

static void a_night_is_read_whole_or_its_reader_says_why_not(void **state)
{
    struct error error = {0};
    assert_int_equal(record(*state, &error), 0);
    fault_each(read_back, *state);
}

static sqlite3_mem_methods real;
static atomic_bool sqlite_strikes;

static void *sqlite_malloc(int size)
{
    return atomic_load(&sqlite_strikes) && fault_strikes() ? NULL : real.xMalloc(size);
}

static void *sqlite_realloc(void *memory, int size)
{
    return atomic_load(&sqlite_strikes) && fault_strikes() ? NULL : real.xRealloc(memory, size);
}

/* SQLite's memory runs through the same count where a test says so. */
static int lead_sqlite(void **state)
{
    (void)state;
    if (sqlite3_config(SQLITE_CONFIG_GETMALLOC, &real) != SQLITE_OK) {
        return -1;
    }
    sqlite3_mem_methods led = real;
    led.xMalloc = sqlite_malloc;
    led.xRealloc = sqlite_realloc;
    return sqlite3_config(SQLITE_CONFIG_MALLOC, &led) == SQLITE_OK ? 0 : -1;
}

static void neither_is_harmed_where_sqlite_has_no_memory(void **state)
{
    struct error error = {0};
    assert_int_equal(record(*state, &error), 0);
    atomic_store(&sqlite_strikes, true);
    fault_some(read_back, *state, 8);
    fault_some(record, *state, 2);
    atomic_store(&sqlite_strikes, false);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_night_is_written_or_its_writer_says_why_not,
                                        fixture_setup, fixture_teardown),
        cmocka_unit_test_setup_teardown(a_night_is_read_whole_or_its_reader_says_why_not,
                                        fixture_setup, fixture_teardown),
        cmocka_unit_test_setup_teardown(neither_is_harmed_where_sqlite_has_no_memory, fixture_setup,
                                        fixture_teardown),
    };
    return cmocka_run_group_tests(tests, lead_sqlite, NULL);
}
