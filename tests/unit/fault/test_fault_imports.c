/* That imports of SenML and of miniSEED end in an error, whichever allocation fails. */
#include "tests/unit/fault/recording_counts.h"

#include "collector/ingest/mseed_file.h"
#include "collector/ingest/senml_file.h"
#include "common/small_file.h"
#include "tests/unit/ingest/site_for_tests.h"

static const char pack[] =
    "[{\"bn\":\"lodge/\",\"bt\":1709330400,\"n\":\"n1/temperature\",\"u\":\"Cel\",\"v\":20.5},"
    "{\"n\":\"n1/clock-uncertainty\",\"u\":\"s\",\"v\":0.001},"
    "{\"n\":\"n1/motion\",\"u\":\"/\",\"v\":0},"
    "{\"n\":\"n2/magnetic.x\",\"u\":\"T\",\"v\":0.00002,\"t\":0.5},"
    "{\"n\":\"n1/temperature\",\"u\":\"Cel\",\"v\":12345678901.5,\"t\":1},"
    "{\"n\":\"n2/magnetic.x\",\"u\":\"T\",\"v\":0.0000213,\"t\":15}]";
#define PACK_SAMPLES 5

#define RECORDS "fuzz/corpus/mseed_file/night"
#define RECORDS_MOST 1000000

struct records {
    const struct site *site;
    char *bytes;
    size_t length;
    size_t samples;
};

static int import_senml(void *context, struct error *error)
{
    struct recording *recording = NULL;
    if (senml_file_open_bytes("pack", pack, sizeof pack - 1, context, &recording, error) != 0) {
        return -1;
    }
    return count_samples(recording, PACK_SAMPLES, error);
}

static int import_mseed(void *context, struct error *error)
{
    const struct records *records = context;
    struct recording *recording = NULL;
    if (mseed_file_open_bytes("records", records->bytes, records->length, records->site, NULL, 0,
                              &recording, error) != 0) {
        return -1;
    }
    return count_samples(recording, records->samples, error);
}

static void all_of_a_pack_is_imported_or_nothing(void **state)
{
    (void)state;
    struct site *site = make_site();
    fault_each(import_senml, site);
    site_free(site);
}

static void all_records_are_imported_or_none(void **state)
{
    (void)state;
    struct error error;
    struct recording *recording = NULL;
    struct site *site = make_site();
    struct records records = {.site = site};
    if (small_file_read(RECORDS, RECORDS_MOST, &records.bytes, &records.length, &error) != 0 ||
        mseed_file_open_bytes("records", records.bytes, records.length, site, NULL, 0, &recording,
                              &error) != 0) {
        fail_msg("%s", error.text);
    }
    records.samples = recording_samples(recording);
    recording_close(recording);
    assert_true(records.samples > 10);
    fault_each(import_mseed, &records);
    free(records.bytes);
    site_free(site);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_of_a_pack_is_imported_or_nothing),
        cmocka_unit_test(all_records_are_imported_or_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
