/* The findings and marks of a night as captions (W3C WebVTT), to lay over a recorder's film or
 * sound. Must never hold samples. Called through exporters.c.
 *
 * 00:00:00.000 is the beginning of the window, else of the night, or a recording's first sample:
 * then all times are by the recording's own clock, and only what it holds has a cue. A cue stays
 * for CUE_LEAST_NS at least, so that it can be read; cues go by their start, as the format asks. */
#include "collector/export/exporter.h"

#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/alert/sentence.h"
#include "collector/export/own_time.h"
#include "collector/export/plain.h"
#include "collector/export/write.h"
#include "common/clock.h"
#include "common/timefmt.h"

#define CUE_LEAST_NS (3 * NS_PER_S)
#define NS_PER_MS INT64_C(1000000)

struct cue {
    int64_t start_ns;
    int64_t end_ns;
    size_t text; /* where its block of lines begins in the list of texts */
    size_t length;
};

struct webvtt_export {
    struct site *site;
    const struct export_options *options;
    int64_t zero_ns;
    int64_t to_ns;
    struct cue *cues;
    size_t count;
    size_t size;
    struct text texts;
    struct text line;
    struct error *error;
};

static int out_of_memory(struct error *error)
{
    return error_set(error, ERROR_MEMORY, "webvtt: out of memory");
}

/* A cue whose id and payload the caller has appended to `texts` from `text` on. */
static int add_cue(struct webvtt_export *run, int64_t start_ns, int64_t end_ns, size_t text)
{
    if (run->count == run->size) {
        size_t size = run->size ? 2 * run->size : 64;
        struct cue *cues = realloc(run->cues, size * sizeof *cues);
        if (!cues) {
            return out_of_memory(run->error);
        }
        run->cues = cues;
        run->size = size;
    }
    if (run->texts.failed) {
        return out_of_memory(run->error);
    }
    start_ns = start_ns < run->zero_ns ? run->zero_ns : start_ns;
    end_ns = end_ns < start_ns + CUE_LEAST_NS ? start_ns + CUE_LEAST_NS : end_ns;
    run->cues[run->count++] = (struct cue){start_ns, end_ns, text, run->texts.length - text};
    return 0;
}

static bool in_window(const struct webvtt_export *run, int64_t start_ns, int64_t end_ns)
{
    return start_ns < run->to_ns && end_ns >= run->zero_ns;
}

static int take_coincidence(void *context, const struct coincidence *coincidence)
{
    struct webvtt_export *run = context;
    size_t text = run->texts.length;
    if (!in_window(run, coincidence->start_ns, coincidence->end_ns)) {
        return 0;
    }
    text_clear(&run->line);
    if (sentence_line(run->site, coincidence, &run->line) != 0) {
        return out_of_memory(run->error);
    }
    (void)text_append_format(&run->texts, "coincidence-%" PRId64 "\n%s", coincidence->id,
                             coincidence->alert ? "ALERT " : "");
    plain_append_markup(&run->texts, run->line.bytes);
    return add_cue(run, coincidence->start_ns, coincidence->end_ns, text);
}

static int take_mark(void *context, const struct mark *mark)
{
    struct webvtt_export *run = context;
    size_t text = run->texts.length;
    if (!in_window(run, mark->start_ns, mark->end_ns)) {
        return 0;
    }
    (void)text_append_format(&run->texts, "mark-%" PRId64 "\nmark", mark->id);
    if (mark->room[0] != '\0') {
        (void)text_append_format(&run->texts, " (");
        plain_append_markup(&run->texts, mark->room);
        (void)text_append_format(&run->texts, ")");
    }
    (void)text_append_format(&run->texts, ": ");
    plain_append_markup(&run->texts, mark->text);
    return add_cue(run, mark->start_ns, mark->end_ns, text);
}

static int by_start(const void *left, const void *right)
{
    const struct cue *a = left;
    const struct cue *b = right;
    if (a->start_ns != b->start_ns) {
        return a->start_ns < b->start_ns ? -1 : 1;
    }
    return a->text < b->text ? -1 : a->text > b->text;
}

static void put_time(struct text *out, int64_t ns)
{
    int64_t ms = ns / NS_PER_MS;
    (void)text_append_format(out, "%02" PRId64 ":%02d:%02d.%03d", ms / 3600000,
                             (int)(ms / 60000 % 60), (int)(ms / 1000 % 60), (int)(ms % 1000));
}

/* Since the captions' zero. */
static int64_t after_ns(const struct webvtt_export *run, int64_t site_ns)
{
    const struct own_time *own = run->options->own;
    return own ? own_time_ns(own, site_ns) : site_ns - run->zero_ns;
}

/* Id, times, payload: the id is the first line of the cue's text. */
static void put_cue(struct webvtt_export *run, const struct cue *cue, struct text *out)
{
    const char *text = run->texts.bytes + cue->text;
    size_t id = (size_t)((const char *)memchr(text, '\n', cue->length) - text) + 1;
    (void)text_append(out, "\n", 1);
    (void)text_append(out, text, id);
    put_time(out, after_ns(run, cue->start_ns));
    (void)text_append_format(out, " --> ");
    put_time(out, after_ns(run, cue->end_ns));
    (void)text_append(out, "\n", 1);
    (void)text_append(out, text + id, cue->length - id);
    (void)text_append(out, "\n", 1);
}

static int put_all(struct webvtt_export *run, const char *night, FILE *out)
{
    char zero[TIMEFMT_SIZE];
    struct text text = {0};
    int result = 0;
    const struct own_time *own = run->options->own;
    timefmt_rfc3339(own ? own->start_ns : run->zero_ns, zero);
    (void)text_append_format(&text, "WEBVTT\n\nNOTE\nNight ");
    plain_append_markup(&text, night);
    (void)text_append_format(&text, ". 00:00:00.000 is %s%s.\n", zero,
                             own ? ", the first sample of the recording; times are by its own clock"
                                 : "");
    if (run->count > 0) {
        qsort(run->cues, run->count, sizeof *run->cues, by_start);
    }
    for (size_t i = 0; i < run->count && result == 0; i++) {
        put_cue(run, &run->cues[i], &text);
        result = write_text(&text, out, false, run->error);
    }
    result = result == 0 ? write_text(&text, out, true, run->error) : result;
    text_free(&text);
    return result;
}

/* From when to when there are cues. */
static int find_window(struct webvtt_export *run, const struct night_info *info)
{
    const struct own_time *own = run->options->own;
    run->zero_ns = run->options->from_ns;
    run->to_ns = run->options->to_ns;
    if (!own) {
        run->zero_ns = run->zero_ns == INT64_MIN ? info->start_ns : run->zero_ns;
        return 0;
    }
    if (strcmp(own->night, info->id) != 0) {
        return error_set(run->error, ERROR_STATE,
                         "--for: the recording was lined up with the night %s, this one is %s",
                         own->night, info->id);
    }
    int64_t end_ns =
        own->start_ns + own->length_ns + llround((double)own->length_ns * own->drift_ppm * 1e-6);
    run->zero_ns = run->zero_ns > own->start_ns ? run->zero_ns : own->start_ns;
    run->to_ns = run->to_ns < end_ns ? run->to_ns : end_ns;
    return 0;
}

static int run_webvtt(struct night_reader *reader, const struct export_options *options, FILE *out,
                      struct error *error)
{
    struct webvtt_export run = {.options = options, .error = error};
    struct night_info info;
    int result = -1;
    if (night_read_info(reader, &info, error) == 0 &&
        night_read_site(reader, options->analysis, &run.site, error) == 0 &&
        find_window(&run, &info) == 0) {
        result = night_each_coincidence(reader, options->analysis, take_coincidence, &run, error);
    }
    if (result == 0) {
        result = night_each_standing_mark(reader, take_mark, &run, error);
    }
    if (result == 0) {
        result = put_all(&run, info.id, out);
    }
    free(run.cues);
    text_free(&run.texts);
    text_free(&run.line);
    site_free(run.site);
    return result;
}

const struct exporter exporter_webvtt = {"webvtt", "findings and marks as captions (W3C WebVTT)",
                                         run_webvtt};
