/* That the findings' JSON is the contract's, field for field, and parses back to what was found. */
#include "tests/unit/night/fixture.h"

#include <cjson/cJSON.h>
#include <sys/stat.h>

#include "collector/export/exporter.h"

static char *export_text(const struct fixture *fixture, struct export_options *options)
{
    static char bytes[1 << 20];
    struct night_reader *reader = fixture_read(fixture);
    struct error error;
    options->out = tmpfile();
    assert_non_null(options->out);
    fixture_check(export_run("json", reader, options, &error), &error);
    rewind(options->out);
    size_t length = fread(bytes, 1, sizeof bytes - 1, options->out);
    bytes[length] = '\0';
    assert_int_equal(fclose(options->out), 0);
    night_reader_close(reader);
    return bytes;
}

static struct export_options whole(void)
{
    return (struct export_options){.from_ns = INT64_MIN, .to_ns = INT64_MAX};
}

static void put_findings(struct night_writer *writer)
{
    struct error error;
    struct disturbance d = {.id = 1,
                            .node = 0,
                            .quantity_text = "magnetic",
                            .unit = "T",
                            .onset_ns = FIXTURE_START_NS + 1,
                            .pick_sd_ns = 3000000,
                            .sampling_sd_ns = 4000000,
                            .end_ns = FIXTURE_START_NS + NS_PER_S,
                            .peak_ns = FIXTURE_START_NS + 500000000,
                            .peak_value = 1.0 / 3,
                            .peak_score = 12.5};
    fixture_check(night_put_disturbance(writer, 1, &d, &error), &error);
    struct coincidence *c = calloc(1, sizeof *c);
    c->members[0] = d;
    d.id = 2;
    d.node = 1;
    d.end_ns = 0;
    d.peak_value = NAN;
    fixture_check(night_put_disturbance(writer, 1, &d, &error), &error);
    c->members[1] = d;
    c->id = 1;
    c->kind = COINCIDENCE_TRAVELLING;
    c->start_ns = FIXTURE_START_NS + 1;
    c->end_ns = FIXTURE_START_NS + NS_PER_S;
    c->member_count = 2;
    c->witness_count = 2;
    c->order_count = 2;
    c->order[0] = (struct order_entry){1, FIXTURE_START_NS + 1, 5000000, 0.975};
    c->order[1] = (struct order_entry){0, FIXTURE_START_NS + 2, 5000000, 0.025};
    c->first_known = true;
    c->path_count = 1;
    c->path[0] = (struct path_step){1, FIXTURE_START_NS + 1};
    c->speed = (struct speed){true, 1.25, 0.5, INFINITY};
    c->source = (struct source){true, 1.5, 2.0, 0.5, 0.4, 0.3, 30.0};
    c->verdict.cause = CAUSE_PERSON_WALKING;
    c->verdict.reason_count = 1;
    (void)snprintf(c->verdict.reasons[0], COINCIDENCE_REASON_SIZE, "\"slow\"\n\x01 1.25 m/s");
    c->chance = (struct chance){0.001, 1 - exp(-0.001), CHANCE_TIME_SLIDES};
    c->alert = true;
    fixture_check(night_put_coincidence(writer, 1, c, &error), &error);
    memset(c, 0, sizeof *c);
    c->id = 2;
    c->start_ns = c->end_ns = FIXTURE_START_NS + 100 * NS_PER_S;
    c->mark_id = 1;
    fixture_check(night_put_coincidence(writer, 1, c, &error), &error);
    free(c);
}

static void make_night(const struct fixture *fixture)
{
    struct night_settings settings = fixture_settings(fixture);
    struct night_writer *writer = fixture_open(&settings, NULL, NULL);
    struct error error;
    fixture_put_channels(writer, fixture, 0, FIXTURE_BOOT);
    fixture_put_noise(writer, 0, 0, 2, 1);
    fixture_check(night_put_clock(writer, 0, FIXTURE_START_NS, 250000, &error), &error);
    struct gap gap = {0, FIXTURE_START_NS + 7, FIXTURE_START_NS + 8, "node was off"};
    fixture_check(night_put_gap(writer, &gap, &error), &error);
    struct mark mark = {.id = 1,
                        .start_ns = FIXTURE_START_NS,
                        .end_ns = FIXTURE_START_NS + 9,
                        .room = "hall",
                        .text = "steps"};
    fixture_check(night_put_mark(writer, &mark, &error), &error);
    mark = (struct mark){.id = 2,
                         .start_ns = FIXTURE_START_NS + 100 * NS_PER_S,
                         .end_ns = FIXTURE_START_NS + 101 * NS_PER_S,
                         .text = "radio"};
    fixture_check(night_put_mark(writer, &mark, &error), &error);
    put_findings(writer);
    fixture_close(writer, 200);
}

/* The night's root out of the document, compared with what the file says; null in its place. */
static char *without_seal(const struct fixture *fixture, char *text)
{
    char sql[256];
    char root[65] = "";
    char *seal = strstr(text, "\"seal\":\"");
    assert_non_null(seal);
    seal += strlen("\"seal\":");
    memcpy(root, seal + 1, 64);
    (void)snprintf(sql, sizeof sql,
                   "SELECT count(*) FROM seal WHERE what='samples' AND lower(hex(root))='%s'",
                   root);
    assert_int_equal(fixture_query(fixture, sql), 1);
    memmove(seal + 4, seal + 66, strlen(seal + 66) + 1);
    memcpy(seal, "null", 4);
    return text;
}

static void the_document_is_the_contracts_to_the_letter(void **state)
{
    struct fixture *fixture = *state;
    make_night(fixture);
    struct export_options options = whole();
    assert_string_equal(
        without_seal(fixture, export_text(fixture, &options)),
        "{\"format\":\"roomwake-findings\",\"version\":1,\n"
        "\"night\":{\"id\":\"lodge-20231114T221320Z\",\"site\":\"lodge\","
        "\"start\":\"2023-11-14T22:13:20.000000000Z\",\"end\":\"2023-11-14T22:16:40.000000000Z\","
        "\"seal\":null,\"clocks\":\"as-stored\"},\n"
        "\"nodes\":[\n"
        "{\"id\":\"n1\",\"room\":\"hall\",\"position_m\":[1,2,0.8],"
        "\"clock\":{\"uncertainty_s\":0.00025},\"samples\":400,"
        "\"gaps\":[{\"start\":\"2023-11-14T22:13:20.000000007Z\","
        "\"end\":\"2023-11-14T22:13:20.000000008Z\",\"reason\":\"node was off\"}]},\n"
        "{\"id\":\"n2\",\"room\":\"kitchen\",\"position_m\":[7.5,1.25,1.1],"
        "\"clock\":{\"uncertainty_s\":0.001},\"samples\":0,\"gaps\":[]}],\n"
        "\"disturbances\":[\n"
        "{\"id\":1,\"node\":\"n1\",\"quantity\":\"magnetic\","
        "\"onset\":\"2023-11-14T22:13:20.000000001Z\",\"onset_uncertainty_s\":0.005,"
        "\"end\":\"2023-11-14T22:13:21.000000000Z\","
        "\"peak\":{\"time\":\"2023-11-14T22:13:20.500000000Z\",\"value\":0.3333333333333333,"
        "\"unit\":\"T\"},\"score\":12.5},\n"
        "{\"id\":2,\"node\":\"n2\",\"quantity\":\"magnetic\","
        "\"onset\":\"2023-11-14T22:13:20.000000001Z\",\"onset_uncertainty_s\":0.005,"
        "\"end\":null,"
        "\"peak\":{\"time\":\"2023-11-14T22:13:20.500000000Z\",\"value\":null,"
        "\"unit\":\"T\"},\"score\":12.5}],\n"
        "\"coincidences\":[\n"
        "{\"id\":1,\"start\":\"2023-11-14T22:13:20.000000001Z\","
        "\"end\":\"2023-11-14T22:13:21.000000000Z\",\"disturbances\":[1,2],\"witnesses\":2,"
        "\"kind\":\"travelling\",\"first\":{\"node\":\"n2\",\"probability\":0.975},"
        "\"order\":[{\"node\":\"n2\",\"onset\":\"2023-11-14T22:13:20.000000001Z\","
        "\"uncertainty_s\":0.005},{\"node\":\"n1\",\"onset\":\"2023-11-14T22:13:20.000000002Z\","
        "\"uncertainty_s\":0.005}],"
        "\"path\":[{\"room\":\"kitchen\",\"time\":\"2023-11-14T22:13:20.000000001Z\"}],"
        "\"speed_m_s\":{\"value\":1.25,\"low\":0.5,\"high\":null},"
        "\"source\":{\"x_m\":1.5,\"y_m\":2,\"sd_m\":0.5,"
        "\"ellipse\":{\"major_m\":0.4,\"minor_m\":0.3,\"major_deg\":30}},"
        "\"cause\":{\"verdict\":\"person-walking\","
        "\"reasons\":[\"\\\"slow\\\"\\n\\u0001 1.25 m/s\"]},"
        "\"chance\":{\"per_night\":0.001,\"p_value\":0.000999500166624978,"
        "\"method\":\"time-slides\"},\"alert\":true,\"mark\":null},\n"
        "{\"id\":2,\"start\":\"2023-11-14T22:15:00.000000000Z\","
        "\"end\":\"2023-11-14T22:15:00.000000000Z\",\"disturbances\":[],\"witnesses\":0,"
        "\"kind\":\"prompt\",\"first\":null,\"order\":[],\"path\":[],\"speed_m_s\":null,"
        "\"source\":null,\"cause\":{\"verdict\":\"unexplained\",\"reasons\":[]},"
        "\"chance\":{\"per_night\":0,\"p_value\":0,\"method\":\"analytic\"},"
        "\"alert\":false,\"mark\":1}],\n"
        "\"marks\":[\n"
        "{\"id\":1,\"start\":\"2023-11-14T22:13:20.000000000Z\","
        "\"end\":\"2023-11-14T22:13:20.000000009Z\",\"room\":\"hall\",\"text\":\"steps\"},\n"
        "{\"id\":2,\"start\":\"2023-11-14T22:15:00.000000000Z\","
        "\"end\":\"2023-11-14T22:15:01.000000000Z\",\"room\":null,\"text\":\"radio\"}]}\n");
}

static void a_parser_of_others_reads_the_same_numbers(void **state)
{
    struct fixture *fixture = *state;
    make_night(fixture);
    struct export_options options = whole();
    cJSON *document = cJSON_Parse(export_text(fixture, &options));
    assert_non_null(document);
    const cJSON *d = cJSON_GetArrayItem(cJSON_GetObjectItem(document, "disturbances"), 0);
    const cJSON *peak = cJSON_GetObjectItem(d, "peak");
    assert_true(cJSON_GetNumberValue(cJSON_GetObjectItem(peak, "value")) == 1.0 / 3);
    const cJSON *c = cJSON_GetArrayItem(cJSON_GetObjectItem(document, "coincidences"), 0);
    const cJSON *chance = cJSON_GetObjectItem(c, "chance");
    assert_true(cJSON_GetNumberValue(cJSON_GetObjectItem(chance, "p_value")) == 1 - exp(-0.001));
    cJSON_Delete(document);
}

static int count_of(const char *text, const char *list)
{
    cJSON *document = cJSON_Parse(text);
    assert_non_null(document);
    int count = cJSON_GetArraySize(cJSON_GetObjectItem(document, list));
    cJSON_Delete(document);
    return count;
}

static void a_window_keeps_what_overlaps_it(void **state)
{
    struct fixture *fixture = *state;
    make_night(fixture);
    struct export_options options = whole();
    options.from_ns = FIXTURE_START_NS + 50 * NS_PER_S;
    char *text = export_text(fixture, &options);
    assert_int_equal(count_of(text, "disturbances"), 1); /* the one that lasts */
    assert_int_equal(count_of(text, "coincidences"), 1);
    assert_int_equal(count_of(text, "marks"), 1);
    assert_null(strstr(text, "node was off"));
    options.from_ns = INT64_MIN;
    options.to_ns = FIXTURE_START_NS + 1;
    text = export_text(fixture, &options);
    assert_int_equal(count_of(text, "disturbances"), 0);
    assert_int_equal(count_of(text, "marks"), 1);
}

static void an_empty_night_that_was_not_closed_is_a_whole_document(void **state)
{
    struct fixture *fixture = *state;
    struct night_settings settings = fixture_settings(fixture);
    struct error error;
    fixture_check(night_writer_close(fixture_open(&settings, NULL, NULL), 0, &error), &error);
    struct export_options options = whole();
    char *text = export_text(fixture, &options);
    assert_non_null(strstr(text, "\"end\":null,\"seal\":null"));
    assert_int_equal(count_of(text, "coincidences"), 0);
}

static void a_path_is_written_whole_or_not_at_all(void **state)
{
    struct fixture *fixture = *state;
    make_night(fixture);
    struct night_reader *reader = fixture_read(fixture);
    struct error error;
    char path[160];
    (void)snprintf(path, sizeof path, "%s/findings.json", fixture->folder);
    struct export_options options = whole();
    options.path = path;
    for (int i = 0; i < 2; i++) {
        fixture_check(export_run("json", reader, &options, &error), &error);
        struct stat file;
        assert_int_equal(stat(path, &file), 0);
        assert_true(file.st_size > 1000);
        assert_int_equal(file.st_mode & 0777, 0644);
        options.replace = false;
        assert_int_equal(export_run("json", reader, &options, &error), -1);
        assert_error(error, ERROR_BUSY, "exists already");
        options.replace = true;
    }
    static const volatile sig_atomic_t asked = 1;
    options.stop = &asked;
    assert_int_equal(export_run("csv", reader, &options, &error), -1);
    assert_error(error, ERROR_STATE, "interrupted");
    options.stop = NULL;
    options.analysis = 9;
    assert_int_equal(export_run("json", reader, &options, &error), -1);
    assert_error(error, ERROR_NOT_FOUND, "no analysis 9");
    assert_int_equal(access(path, F_OK), 0); /* the one from before */
    char command[256];
    (void)snprintf(command, sizeof command, "test \"$(ls '%s' | grep -c findings)\" = 1",
                   fixture->folder);
    assert_int_equal(system(command), 0); /* nothing half beside them */

    options = whole();
    options.path = "/no-such-folder/findings.json";
    assert_int_equal(export_run("json", reader, &options, &error), -1);
    assert_error(error, ERROR_IO, "/no-such-folder/findings.json");
    options.path = "/dev/full";
    assert_int_equal(export_run("json", reader, &options, &error), -1);
    assert_int_equal(error.code, ERROR_FULL);
    assert_int_equal(export_run("xls", reader, &options, &error), -1);
    assert_error(error, ERROR_USAGE, "no format \"xls\"");
    night_reader_close(reader);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_FIXTURE(the_document_is_the_contracts_to_the_letter),
        WITH_FIXTURE(a_parser_of_others_reads_the_same_numbers),
        WITH_FIXTURE(a_window_keeps_what_overlaps_it),
        WITH_FIXTURE(an_empty_night_that_was_not_closed_is_a_whole_document),
        WITH_FIXTURE(a_path_is_written_whole_or_not_at_all),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
