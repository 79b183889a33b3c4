/* That an import of CSV ends in an error, whichever allocation fails. */
#include "tests/unit/fault/fault.h"

#include "collector/ingest/csv.h"
#include "tests/unit/ingest/site_for_tests.h"

static const char rows[] = "time,node,temperature,motion,magnetic.x,clock-uncertainty\n"
                           "1709330400,n1,20.5,0,,0.001\n"
                           "1709330400.5,n2,,,0.00002,\n"
                           "1709330401,n1,20.6,,,\n"
                           "1709330402,n1,12345678901.5,1,,\n"
                           "1709330415,n2,19.5,,0.0000213,\n";

static int on_clock(void *context, uint32_t node, int64_t time_ns, int64_t clock_sd_ns,
                    struct error *error)
{
    (void)context;
    (void)node;
    (void)time_ns;
    (void)clock_sd_ns;
    (void)error;
    return 0;
}

static int on_blocks(void *context, uint32_t node, const struct block *blocks, size_t count,
                     struct error *error)
{
    (void)node;
    (void)error;
    for (size_t i = 0; i < count; i++) {
        *(size_t *)context += blocks[i].count;
    }
    return 0;
}

static int on_advance(void *context, uint32_t node, int64_t until_ns, struct error *error)
{
    (void)context;
    (void)node;
    (void)until_ns;
    (void)error;
    return 0;
}

static int import(void *context, struct error *error)
{
    const struct site *site = context;
    struct recording *csv = NULL;
    size_t samples = 0;
    const struct recording_sink sink = {&samples, on_clock, on_blocks, on_advance};
    if (csv_open_bytes("rows.csv", rows, sizeof rows - 1, site, &csv, error)) {
        return -1;
    }
    int result = recording_run(csv, &sink, error);
    if (result == 0) {
        assert_int_equal(samples, 8);
    }
    recording_close(csv);
    return result;
}

static void all_rows_are_imported_or_none(void **state)
{
    (void)state;
    struct site *site = make_site();
    fault_each(import, site);
    site_free(site);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_rows_are_imported_or_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
