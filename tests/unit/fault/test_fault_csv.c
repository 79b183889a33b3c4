/* That an import of CSV ends in an error, whichever allocation fails. */
#include "tests/unit/fault/recording_counts.h"

#include "collector/ingest/csv.h"
#include "tests/unit/ingest/site_for_tests.h"

static const char rows[] = "time,node,temperature,motion,magnetic.x,clock-uncertainty\n"
                           "1709330400,n1,20.5,0,,0.001\n"
                           "1709330400.5,n2,,,0.00002,\n"
                           "1709330401,n1,20.6,,,\n"
                           "1709330402,n1,12345678901.5,1,,\n"
                           "1709330415,n2,19.5,,0.0000213,\n";

static int import(void *context, struct error *error)
{
    struct recording *csv = NULL;
    if (csv_open_bytes("rows.csv", rows, sizeof rows - 1, context, &csv, error)) {
        return -1;
    }
    return count_samples(csv, 8, error);
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
