/* A small site, a folder for its nights, and frames of noise: for the tests of night and export.
 * Must never be included by product code. */
#ifndef ROOMWAKE_TESTS_UNIT_NIGHT_FIXTURE_H
#define ROOMWAKE_TESTS_UNIT_NIGHT_FIXTURE_H

#include "tests/unit/test.h"

#include <sqlite3.h>
#include <unistd.h>

#include "collector/night/reader.h"
#include "collector/night/writer.h"
#include "common/clock.h"

#define FIXTURE_START_NS (INT64_C(1700000000) * NS_PER_S)
#define FIXTURE_BOOT UINT64_C(0xf123456789abcdef)

static const char fixture_site_text[] =
    "{\"site\":\"lodge\",\"title\":\"The lodge\",\"mains_hz\":50,\"baseline_s\":60,"
    "\"rooms\":[{\"id\":\"hall\",\"title\":\"Hall\",\"floor\":0,"
    "\"outline_m\":[[0,0],[6,0],[6,4],[0,4]]},"
    "{\"id\":\"kitchen\",\"title\":\"Kitchen\",\"floor\":0,"
    "\"outline_m\":[[6,0],[10,0],[10,4],[6,4]]}],"
    "\"doors\":[{\"between\":[\"hall\",\"kitchen\"],\"at_m\":[6,2]}],"
    "\"nodes\":[{\"id\":\"n1\",\"room\":\"hall\",\"position_m\":[1,2,0.8],"
    "\"channels\":[{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":200},"
    "{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":0}]},"
    "{\"id\":\"n2\",\"room\":\"kitchen\",\"position_m\":[7.5,1.25,1.1],\"control\":true,"
    "\"channels\":[{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":200}]}]}";

struct fixture {
    char folder[64];
    char night[96];
    struct site *site;
};

/* xorshift64*; deterministic. */
static inline uint64_t fixture_random(uint64_t *state)
{
    *state ^= *state >> 12;
    *state ^= *state << 25;
    *state ^= *state >> 27;
    return *state * UINT64_C(2685821657736338717);
}

/* Near enough to a normal distribution: the sum of twelve uniform ones. */
static inline int32_t fixture_noise(uint64_t *state, double sigma)
{
    double sum = -6;
    for (int i = 0; i < 12; i++) {
        sum += (double)(fixture_random(state) >> 11) / 9007199254740992.0;
    }
    return (int32_t)lround(sum * sigma);
}

static inline void fixture_check(int result, const struct error *error)
{
    if (result < 0) {
        fail_msg("%s", error->text);
    }
}

static inline int fixture_setup(void **state)
{
    struct fixture *fixture = calloc(1, sizeof *fixture);
    const char *base = getenv("TMPDIR");
    (void)snprintf(fixture->folder, sizeof fixture->folder, "%s/night-XXXXXX",
                   base ? base : "/tmp");
    assert_non_null(mkdtemp(fixture->folder));
    (void)snprintf(fixture->night, sizeof fixture->night, "%s/night.sqlite", fixture->folder);
    char key[96];
    (void)snprintf(key, sizeof key, "%s/.base.key", fixture->folder);
    assert_int_equal(setenv("ROOMWAKE_KEY", key, 1), 0);
    struct error error;
    fixture_check(site_parse(fixture_site_text, strlen(fixture_site_text), "lodge.json",
                             &fixture->site, &error),
                  &error);
    *state = fixture;
    return 0;
}

static inline int fixture_teardown(void **state)
{
    struct fixture *fixture = *state;
    char command[128];
    (void)snprintf(command, sizeof command, "rm -rf '%s'", fixture->folder);
    int result = system(command);
    site_free(fixture->site);
    free(fixture);
    return result;
}

#define WITH_FIXTURE(test) cmocka_unit_test_setup_teardown(test, fixture_setup, fixture_teardown)

static inline struct night_settings fixture_settings(const struct fixture *fixture)
{
    return (struct night_settings){.path = fixture->night,
                                   .site = fixture->site,
                                   .site_text = fixture_site_text,
                                   .start_ns = FIXTURE_START_NS,
                                   .origin = "recorded",
                                   .commit_every_ms = 10,
                                   .reserve_bytes = 1};
}

static inline struct night_writer *fixture_open(const struct night_settings *settings,
                                                night_committed committed, void *context)
{
    struct night_writer *writer = NULL;
    struct error error;
    fixture_check(night_writer_open(settings, committed, context, &writer, &error), &error);
    return writer;
}

/* Tells the channels of the node's site file, steps 1e-9 and 0.0625. */
static inline void fixture_put_channels(struct night_writer *writer, const struct fixture *fixture,
                                        uint32_t node, uint64_t boot)
{
    struct error error;
    struct site_node told = fixture->site->nodes[node];
    told.channels[0].step = (struct decimal){1, -9};
    told.channels[1].step = (struct decimal){625, -4};
    fixture_check(night_put_channels(writer, node, boot, told.channels, told.channel_count, &error),
                  &error);
}

/* One second of magnetic.x at 200 Hz, second `second` of the night, as seq second + 1. The node's
 * clock is 1000 s behind. */
static inline int fixture_put_second(struct night_writer *writer, uint32_t node, int64_t second,
                                     const int32_t counts[200], bool late, struct error *error)
{
    struct block block = {.encoding = BLOCK_INT32,
                          .count = 200,
                          .t0_ns = FIXTURE_START_NS + second * NS_PER_S,
                          .period_ps = PS_PER_S / 200,
                          .counts = counts};
    int64_t node_t0_ns = block.t0_ns - 1000 * NS_PER_S;
    struct clock_fit fit = {.known = true,
                            .ref_node_ns = node_t0_ns / (16 * NS_PER_S),
                            .offset_ns = 1000 * NS_PER_S,
                            .uncertainty_ns = 250000};
    struct night_frame_id id = {node, FIXTURE_BOOT, (uint64_t)second + 1};
    return night_put_frame(writer, &id, &fit, &block, &node_t0_ns, 1, late, error);
}

static inline void fixture_put_noise(struct night_writer *writer, uint32_t node, int64_t first,
                                     int64_t count, uint64_t seed)
{
    for (int64_t second = first; second < first + count; second++) {
        int32_t counts[200];
        struct error error;
        for (int i = 0; i < 200; i++) {
            counts[i] = 48000 + fixture_noise(&seed, 4);
        }
        fixture_check(fixture_put_second(writer, node, second, counts, false, &error), &error);
    }
}

static inline void fixture_flush(struct night_writer *writer)
{
    struct error error;
    fixture_check(night_writer_flush(writer, &error), &error);
}

static inline void fixture_close(struct night_writer *writer, int64_t seconds)
{
    struct error error;
    fixture_check(night_writer_close(writer, FIXTURE_START_NS + seconds * NS_PER_S, &error),
                  &error);
}

static inline struct night_reader *fixture_read(const struct fixture *fixture)
{
    struct night_reader *reader = NULL;
    struct error error;
    fixture_check(night_reader_open(fixture->night, &reader, &error), &error);
    return reader;
}

/* What a person would see who opens the file by hand. */
static inline int64_t fixture_query(const struct fixture *fixture, const char *sql)
{
    sqlite3 *db = NULL;
    sqlite3_stmt *statement = NULL;
    assert_int_equal(sqlite3_open_v2(fixture->night, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
    if (sqlite3_prepare_v2(db, sql, -1, &statement, NULL) != SQLITE_OK) {
        fail_msg("%s", sqlite3_errmsg(db));
    }
    assert_int_equal(sqlite3_step(statement), SQLITE_ROW);
    int64_t value = sqlite3_column_int64(statement, 0);
    sqlite3_finalize(statement);
    assert_int_equal(sqlite3_close(db), SQLITE_OK);
    return value;
}

static inline bool fixture_exists(const struct fixture *fixture, const char *suffix)
{
    char path[128];
    (void)snprintf(path, sizeof path, "%s%s", fixture->night, suffix);
    return access(path, F_OK) == 0;
}

#endif
