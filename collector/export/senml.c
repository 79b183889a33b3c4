/* All samples of a night as one SenML pack in JSON (RFC 8428, 2018): names are SITE/NODE/CHANNEL,
 * times whole seconds in bt and the rest in t. What `import --senml` reads.
 * Must never hold more of a night than the blocks that are open at one time. Called through
 * exporters.c. */
#include "collector/export/exporter.h"

#include <string.h>

#include "collector/export/stream.h"
#include "common/clock.h"
#include "common/json.h"
#include "common/timefmt.h"

struct senml_export {
    struct stream stream;
    struct text text;
    FILE *out;
    struct error *error;
    bool any;
    int64_t second;
    uint32_t node;
};

/* The base fields come again only where they change. */
static void begin_record(struct senml_export *run, const struct stream_row *row)
{
    struct text *text = &run->text;
    int64_t second = row->time_ns / NS_PER_S - (row->time_ns % NS_PER_S < 0 ? 1 : 0);
    (void)text_append_format(text, run->any ? ",\n{" : "[{");
    if (!run->any || run->node != row->node) {
        (void)text_append_format(text, "\"bn\":\"%s/%s/\",", run->stream.site->id,
                                 run->stream.site->nodes[row->node].id);
    }
    if (!run->any || run->second != second) {
        (void)text_append_format(text, "\"bt\":%lld,", (long long)second);
    }
    run->any = true;
    run->node = row->node;
    run->second = second;
}

static void put_record(struct senml_export *run, const struct stream_row *row, const char *name,
                       const char *unit, const char *value)
{
    struct text *text = &run->text;
    char rest[TIMEFMT_SIZE];
    begin_record(run, row);
    (void)text_append(text, "\"n\":\"", 5);
    (void)text_append(text, name, strlen(name));
    if (unit[0] != '\0') {
        (void)text_append(text, "\",\"u\":", 6);
        (void)json_append_string(text, unit);
    } else {
        (void)text_append(text, "\"", 1);
    }
    timefmt_seconds(row->time_ns - run->second * NS_PER_S, rest);
    (void)text_append(text, ",\"t\":", 5);
    (void)text_append(text, rest, strlen(rest));
    (void)text_append(text, ",\"v\":", 5);
    (void)text_append(text, value, strlen(value));
    (void)text_append(text, "}", 1);
}

static int take(struct senml_export *run, const struct stream_row *row)
{
    char value[DECIMAL_TEXT_SIZE];
    if (row->part_count == 0) {
        timefmt_seconds(row->clock_sd_ns, value);
        put_record(run, row, STREAM_CLOCK_COLUMN, "s", value);
    }
    for (size_t i = 0; i < row->part_count; i++) {
        const struct stream_part *part = row->parts[i];
        if (stream_value_text(part, row->index, value, run->error) < 0) {
            return -1;
        }
        put_record(run, row, part->channel.name, part->channel.unit, value);
    }
    return write_text(&run->text, run->out, false, run->error);
}

static int put_all(struct senml_export *run)
{
    struct stream_row row;
    int more = 0;
    while ((more = stream_next(&run->stream, &row, run->error)) == 1) {
        if (take(run, &row) != 0) {
            return -1;
        }
    }
    if (more < 0) {
        return -1;
    }
    (void)text_append_format(&run->text, run->any ? "]\n" : "[]\n");
    return write_text(&run->text, run->out, true, run->error);
}

static int run_senml(struct night_reader *reader, const struct export_options *options, FILE *out,
                     struct error *error)
{
    struct senml_export run = {.out = out, .error = error};
    int result = stream_open(&run.stream, reader, options, error);
    if (result == 0) {
        result = put_all(&run);
    }
    stream_close(&run.stream);
    text_free(&run.text);
    return result;
}

const struct exporter exporter_senml = {"senml", "all samples as a SenML pack (RFC 8428)",
                                        run_senml};
