/* That the miniSEED library's own reader gives back every count and every microsecond, and the
 * note beside them the rest. */
#include "tests/unit/night/fixture.h"

#include <libmseed.h>

#include "collector/export/exporter.h"
#include "common/seed_code.h"

#define SAMPLES 3000

static void put(struct night_writer *writer, uint64_t seq, const struct block *block)
{
    struct night_frame_id id = {0, FIXTURE_BOOT, seq};
    struct clock_fit fit = {0};
    int64_t node_t0_ns = 0;
    struct error error;
    fixture_check(night_put_frame(writer, &id, &fit, block, &node_t0_ns, 1, false, &error), &error);
}

static void export_to(const struct fixture *fixture, char path[160])
{
    struct night_reader *reader = fixture_read(fixture);
    struct error error;
    struct export_options options = EXPORT_ALL;
    (void)snprintf(path, 160, "%s/night.mseed", fixture->folder);
    options.path = path;
    fixture_check(export_run("mseed", reader, &options, &error), &error);
    night_reader_close(reader);
}

static struct seed_note note_of(const MSRecord *record)
{
    struct seed_note note = {0};
    struct error error = {0};
    for (const BlktLink *link = record->blkts; link; link = link->next) {
        if (link->blkt_type == 2000) {
            int found = seed_note_parse((const char *)link->blktdata + 11,
                                        (size_t)link->blktdatalen - 11, &note, &error);
            assert_int_equal(found, 1);
            return note;
        }
    }
    fail_msg("no note");
    return note;
}

/* Noise, then what Steim-2 can't hold: differences of more than 30 bits. */
static void make_counts(int32_t counts[SAMPLES])
{
    uint64_t seed = 11;
    for (int i = 0; i < SAMPLES; i++) {
        counts[i] = 48700 + fixture_noise(&seed, i < 1000 ? 3 : 40000);
    }
    counts[2500] = INT32_MAX;
    counts[2501] = INT32_MIN;
}

static void the_librarys_reader_gives_back_every_count_and_microsecond(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    static int32_t counts[SAMPLES];
    char path[160];
    const int64_t t0_ns = FIXTURE_START_NS + 123456789;
    const int64_t period_ps = PS_PER_S / 200 + 37; /* a crystal of its own */
    make_counts(counts);
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    struct block block = {
        .count = SAMPLES, .t0_ns = t0_ns, .period_ps = period_ps, .counts = counts};
    put(writer, 1, &block);
    fixture_close(writer, 60);
    export_to(fixture, path);
    MSRecord *record = NULL;
    int at = 0;
    while (ms_readmsr(&record, path, -1, NULL, NULL, 1, 1, 0) == MS_NOERROR) {
        assert_string_equal(record->network, "XX");
        assert_string_equal(record->station, "N1");
        assert_string_equal(record->channel, "HF1"); /* 200 Hz, magnetometer, first axis */
        assert_int_equal(record->reclen, 512);
        assert_int_equal(record->sampletype, 'i');
        assert_int64_equal(record->starttime, block_time_ns(&block, (uint32_t)at) / 1000);
        struct seed_note note = note_of(record);
        assert_int64_equal(note.t0_ns, block_time_ns(&block, (uint32_t)at));
        assert_int64_equal(note.period_ps, period_ps);
        assert_string_equal(note.channel, "magnetic.x");
        assert_int64_equal(note.step.exponent, -9);
        for (int64_t i = 0; i < record->numsamples; i++) {
            assert_int64_equal(((const int32_t *)record->datasamples)[i], counts[at++]);
        }
    }
    (void)ms_readmsr(&record, NULL, 0, NULL, NULL, 0, 0, 0);
    assert_int_equal(at, SAMPLES);
}

static void what_has_its_own_times_or_digits_is_a_record_a_sample(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    char path[160];
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    const int64_t times[] = {FIXTURE_START_NS + 1, FIXTURE_START_NS + 5000001};
    const struct decimal exact[] = {{2150001, -5}, {123456789012345678, -16}};
    put(writer, 1,
        &(struct block){.channel = 1,
                        .encoding = BLOCK_DECIMAL,
                        .count = 2,
                        .t0_ns = times[0],
                        .times_ns = times,
                        .decimals = exact});
    fixture_close(writer, 60);
    export_to(fixture, path);
    MSRecord *record = NULL;
    assert_int_equal(ms_readmsr(&record, path, -1, NULL, NULL, 1, 1, 0), MS_NOERROR);
    assert_string_equal(record->channel, "AKI"); /* on change, temperature, inside */
    assert_int_equal(record->sampletype, 'd');
    assert_true(*(const double *)record->datasamples == 21.50001);
    assert_int64_equal(note_of(record).t0_ns, times[0]);
    assert_int_equal(ms_readmsr(&record, path, -1, NULL, NULL, 1, 1, 0), MS_NOERROR);
    assert_int_equal(record->sampletype, 'a');
    assert_int_equal(record->numsamples, 19);
    assert_memory_equal(record->datasamples, "12.3456789012345678", 18);
    assert_int_equal(ms_readmsr(&record, path, -1, NULL, NULL, 1, 1, 0), MS_ENDOFFILE);
    (void)ms_readmsr(&record, NULL, 0, NULL, NULL, 0, 0, 0);
}

static void no_two_nodes_share_a_station(void **state)
{
    (void)state;
    static struct site_node nodes[4];
    const char *ids[] = {"n-kitchen", "n-kit-chair", "-", "z0000"};
    struct site site = {.nodes = nodes, .node_count = 4};
    char codes[4][SEED_STATION_SIZE];
    for (size_t i = 0; i < 4; i++) {
        (void)snprintf(nodes[i].id, sizeof nodes[i].id, "%s", ids[i]);
    }
    for (size_t i = 0; i < 4; i++) {
        seed_station_code(&site, i, codes[i]);
    }
    assert_string_equal(codes[0], "Y0000"); /* Z0000 is another's own */
    assert_string_equal(codes[1], "Z0001");
    assert_string_equal(codes[2], "Z0002");
    assert_string_equal(codes[3], "Z0000");
}

/* SEED Reference Manual 2.4 (2012), Appendix A: band by rate, F magnetometer, K temperature, D
 * pressure, I humidity. */
static void letters_are_the_manuals(void **state)
{
    (void)state;
    static const struct {
        const char *name;
        double rate_hz;
        const char *code;
    } cases[] = {{"magnetic.z", 10, "BF3"},    {"magnetic.x", 5, "MF1"}, {"magnetic.y", 1, "LF2"},
                 {"temperature", 1, "LKI"},    {"pressure", 0.1, "VDI"}, {"humidity", 0.01, "UII"},
                 {"vibration.x", 1000, "FN1"}, {"electric", 250, "CQ1"}, {"motion", 0, "AYM"},
                 {"dust", 100, "HYX"}};
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct channel channel;
        struct error error;
        char code[SEED_CHANNEL_SIZE];
        fixture_check(channel_init(&channel, cases[i].name, NULL, cases[i].rate_hz, &error),
                      &error);
        seed_channel_code(&channel, code);
        assert_string_equal(code, cases[i].code);
    }
}

static void a_damaged_note_is_told_and_anothers_left_alone(void **state)
{
    (void)state;
    struct seed_note note;
    struct error error;
    assert_int_equal(seed_note_parse("other~1~x~", 10, &note, &error), 0);
    assert_int_equal(seed_note_parse("", 0, &note, &error), 0);
    static const char *const bad[] = {
        "roomwake~1~n1~magnetic.x~T~1e-9~0~12~",
        "roomwake~2~n1~magnetic.x~T~1e-9~0~12~5~",
        "roomwake~1~N1~magnetic.x~T~1e-9~0~12~5~",
        "roomwake~1~n1~=cmd~T~1e-9~0~12~5~",
        "roomwake~1~n1~magnetic.x~T~1e-9~0~12~-5~",
        "roomwake~1~n1~magnetic.x~T~x~0~12~5~",
        "roomwake~1~n1~magnetic.x~T~1e-9~0~99999999999999999999~5~",
    };
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_int_equal(seed_note_parse(bad[i], strlen(bad[i]), &note, &error), -1);
        assert_error(error, ERROR_FORMAT, "note");
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(the_librarys_reader_gives_back_every_count_and_microsecond),
        WITH_FIXTURE(what_has_its_own_times_or_digits_is_a_record_a_sample),
        cmocka_unit_test(no_two_nodes_share_a_station),
        cmocka_unit_test(letters_are_the_manuals),
        cmocka_unit_test(a_damaged_note_is_told_and_anothers_left_alone),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
