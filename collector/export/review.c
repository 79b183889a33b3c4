/* The night in words: a paragraph a part, each a person can check against the exports.
 * Must never say more than the night holds. Called by cmd_review.c. */
#include "collector/export/review.h"

#include <inttypes.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "collector/alert/sentence.h"
#include "collector/export/plain.h"
#include "collector/export/review_clock.h"
#include "collector/export/review_refit.h"
#include "collector/export/review_sensors.h"
#include "common/site.h"
#include "common/timefmt.h"

/* Chances are per night of this length. */
#define NIGHT_S 28800.0

struct review {
    struct night_reader *reader;
    FILE *out;
    const struct site *site;
    struct night_info info;
    struct text text;
    size_t told;     /* in the part that is being written */
    uint64_t *alone; /* disturbances a node that no other node shares */
    bool broken;     /* what the seal says: parts may be lost */
    uint64_t disturbances;
    uint64_t in_coincidences;
    size_t unexplained; /* whose chance was counted by time slides */
    double least_rare;  /* per night, among them */
    struct error *error;
};

static void print_time(FILE *out, int64_t time_ns)
{
    char local[TIMEFMT_SIZE];
    timefmt_local(time_ns, local, NULL);
    fprintf(out, "%s", local);
}

static const char *node_id(const struct review *review, uint32_t node)
{
    return node < review->site->node_count ? review->site->nodes[node].id : "?";
}

static const char *node_room(const struct review *review, uint32_t node)
{
    return node < review->site->node_count ? review->site->rooms[review->site->nodes[node].room].id
                                           : "?";
}

/* In the night that summer time ends, an hour comes twice. */
static void write_zone_change(const struct review *review)
{
    char before[TIMEFMT_SIZE];
    char after[TIMEFMT_SIZE];
    char utc[TIMEFMT_SIZE];
    char local[TIMEFMT_SIZE];
    int64_t at_ns = timefmt_zone_change(review->info.start_ns, review->info.end_ns);
    if (at_ns == 0) {
        return;
    }
    timefmt_local(at_ns - 1, local, before);
    timefmt_local(at_ns, local, after);
    timefmt_rfc3339(at_ns, utc);
    fprintf(review->out,
            "  clocks here changed at %s: times before are UTC%s, from there on UTC%s\n", utc,
            before, after);
}

static void write_head(struct review *review)
{
    char start[TIMEFMT_SIZE];
    char zone[TIMEFMT_SIZE];
    char utc[TIMEFMT_SIZE];
    char length[TIMEFMT_SIZE] = "not closed";
    timefmt_local(review->info.start_ns, start, zone);
    timefmt_rfc3339(review->info.start_ns, utc);
    if (review->info.end_ns != 0) {
        timefmt_duration(review->info.end_ns - review->info.start_ns, length);
    }
    fprintf(review->out, "Night %s, site \"", review->info.id);
    plain_print(review->out, review->site->title);
    fprintf(review->out, "\" (%s)\n", review->site->id);
    fprintf(review->out, "  began %s (UTC%s; %s), length: %s; %s; analysis %d%s\n", start, zone,
            utc, length, review->info.origin, review->info.analysis,
            review->info.refitted ? ", clocks fitted again from the whole night" : "");
    write_zone_change(review);
}

static int write_seal(struct review *review)
{
    struct night_seal seal;
    if (night_read_seal(review->reader, review->info.analysis, &seal, review->error) != 0) {
        return -1;
    }
    switch (seal.state) {
    case NIGHT_SEAL_BROKEN:
        review->broken = true;
        fprintf(review->out, "  THE SEAL DOES NOT HOLD: run roomwake verify\n");
        break;
    case NIGHT_SEAL_OPEN:
        fprintf(review->out, "  not sealed to its end: it was not closed\n");
        break;
    case NIGHT_SEAL_HOLDS:
        fprintf(review->out, "  sealed: %s%s\n", seal.root,
                seal.whole ? "" : "; its samples were not read through (roomwake verify does)");
        break;
    }
    return 0;
}

/* A night that is damaged, or was tampered with, is told as far as it can be read. */
static int bear(struct review *review, int result)
{
    if (result >= 0 || !review->broken) {
        return result;
    }
    fprintf(review->out, "  (the rest of this part is lost)\n");
    return 0;
}

static int write_nodes(struct review *review)
{
    fprintf(review->out, "\nNodes\n");
    for (uint32_t node = 0; node < review->site->node_count; node++) {
        struct night_node_summary summary;
        if (night_read_node_summary(review->reader, node, &summary, review->error) != 0) {
            return -1;
        }
        const struct site_node *one = &review->site->nodes[node];
        fprintf(review->out, "  %s in %s%s: ", one->id, node_room(review, node),
                one->control ? " (control)" : "");
        if (summary.samples == 0) {
            fprintf(review->out, "no samples\n");
            continue;
        }
        char error_text[TIMEFMT_SIZE] = "not told";
        if (summary.clock_sd_ns >= 0) {
            timefmt_duration(summary.clock_sd_ns, error_text);
        } else {
            timefmt_duration((int64_t)(one->clock_error_s * 1e9), error_text);
        }
        fprintf(review->out, "%" PRIu64 " sample%s, clock +- %s", summary.samples,
                summary.samples == 1 ? "" : "s", error_text);
        if (summary.late_frames > 0) {
            fprintf(review->out, ", %" PRIu64 " of %" PRIu64 " messages came late",
                    summary.late_frames, summary.frames);
        }
        if (review_sensors(review->reader, node, review->out, review->error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int write_gap(void *context, const struct gap *gap)
{
    struct review *review = context;
    char length[TIMEFMT_SIZE];
    timefmt_duration(gap->end_ns - gap->start_ns, length);
    fprintf(review->out, "%s  ", review->told++ ? "" : "\nGaps\n");
    print_time(review->out, gap->start_ns);
    fprintf(review->out, " %s (%s), %s: ", node_id(review, gap->node), node_room(review, gap->node),
            length);
    plain_print(review->out, gap->reason);
    (void)fputc('\n', review->out);
    return 0;
}

static int write_mark(void *context, const struct mark *mark)
{
    struct review *review = context;
    char length[TIMEFMT_SIZE];
    timefmt_duration(mark->end_ns - mark->start_ns, length);
    fprintf(review->out, "%s  ", review->told++ ? "" : "\nMarks\n");
    print_time(review->out, mark->start_ns);
    fprintf(review->out, " for %s, %s: ", length, mark->room[0] ? mark->room : "whole site");
    plain_print(review->out, mark->text);
    (void)fputc('\n', review->out);
    return 0;
}

static int write_notice(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                        const char *text)
{
    struct review *review = context;
    (void)time_ns;
    if (strcmp(quantity, "clock") == 0) { /* of a re-fit */
        return 0;
    }
    fprintf(review->out,
            "%s  %s (%s) %s: ", review->told++ ? "" : "\nWhat the quiet spell taught\n",
            node_id(review, node), node_room(review, node), quantity);
    plain_print(review->out, text);
    (void)fputc('\n', review->out);
    return 0;
}

static int write_coincidence(void *context, const struct coincidence *coincidence)
{
    struct review *review = context;
    fprintf(review->out, "%s\n", review->told++ ? "" : "\nCoincidences\n");
    for (size_t i = 0; i < coincidence->member_count; i++) {
        uint32_t node = coincidence->members[i].node;
        if (node < review->site->node_count && review->alone[node] > 0) {
            review->alone[node]--;
        }
        review->in_coincidences++;
    }
    if (coincidence->verdict.cause == CAUSE_UNEXPLAINED &&
        coincidence->chance.method == CHANCE_TIME_SLIDES) {
        review->unexplained++;
        review->least_rare = coincidence->chance.per_night > review->least_rare
                                 ? coincidence->chance.per_night
                                 : review->least_rare;
    }
    text_clear(&review->text);
    if (sentence_account(review->site, coincidence, &review->text) != 0) {
        return error_set(review->error, ERROR_MEMORY, "review: out of memory");
    }
    fprintf(review->out, "%s%s", coincidence->alert ? "ALERT  " : "", review->text.bytes);
    return 0;
}

static int count_disturbance(void *context, const struct disturbance *disturbance)
{
    struct review *review = context;
    if (disturbance->node < review->site->node_count) {
        review->alone[disturbance->node]++;
        review->disturbances++;
    }
    return 0;
}

static void write_alone(struct review *review)
{
    fprintf(review->out, "\nSeen by one node only: ");
    if (review->disturbances == review->in_coincidences) {
        fprintf(review->out, "nothing.\n");
        return;
    }
    bool first = true;
    for (uint32_t node = 0; node < review->site->node_count; node++) {
        if (review->alone[node] > 0) {
            fprintf(review->out, "%s%" PRIu64 " by %s (%s)", first ? "" : ", ", review->alone[node],
                    node_id(review, node), node_room(review, node));
            first = false;
        }
    }
    fprintf(review->out, ". Without a second witness these are no findings.\n");
}

static int write_coincidences(struct review *review)
{
    review->told = 0;
    review->unexplained = 0;
    review->least_rare = 0.0;
    int result = night_each_coincidence(review->reader, review->info.analysis, write_coincidence,
                                        review, review->error);
    if (result == 0 && review->told == 0) {
        fprintf(review->out, "\nNo coincidence: no two nodes were disturbed together.\n");
    }
    if (review->unexplained > 0 && review->info.end_ns != 0) {
        double nights = (double)(review->info.end_ns - review->info.start_ns) * 1e-9 / NIGHT_S;
        fprintf(
            review->out,
            "\nUnexplained: %zu. Chance alone would bring %.2g as rare as the likeliest of them in"
            " a recording of this length (counted in the night's own onsets, shifted).\n",
            review->unexplained, review->least_rare * nights);
    }
    return result;
}

static int write_quiet(struct review *review)
{
    review->told = 0;
    return night_each_notice(review->reader, review->info.analysis, write_notice, review,
                             review->error);
}

static int write_gaps(struct review *review)
{
    review->told = 0;
    return night_each_gap(review->reader, write_gap, review, review->error);
}

static int write_marks(struct review *review)
{
    review->told = 0;
    return night_each_standing_mark(review->reader, write_mark, review, review->error);
}

static int count_disturbances(struct review *review)
{
    return night_each_disturbance(review->reader, review->info.analysis, count_disturbance, review,
                                  review->error);
}

static int write_clocks(struct review *review)
{
    return review_write_clocks(review->reader, review->site, review->out, review->error);
}

static int write_refit(struct review *review)
{
    return review_write_refit(review->reader, review->site, review->out, review->error);
}

static int write_parts(struct review *review)
{
    static int (*const parts[])(struct review *) = {
        write_seal, write_nodes, write_clocks,       write_refit,        write_quiet,
        write_gaps, write_marks, count_disturbances, write_coincidences,
    };
    write_head(review);
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        if (bear(review, parts[i](review)) != 0) {
            return -1;
        }
    }
    write_alone(review);
    return 0;
}

int review_write(struct night_reader *reader, FILE *out, struct error *error)
{
    struct review review = {.reader = reader, .out = out, .error = error};
    struct site *site = NULL;
    int result = -1;
    if (night_read_info(reader, &review.info, error) != 0 ||
        night_read_site(reader, 0, &site, error) != 0) {
        return -1;
    }
    review.site = site;
    review.alone = calloc(site->node_count ? site->node_count : 1, sizeof *review.alone);
    if (!review.alone) {
        (void)error_set(error, ERROR_MEMORY, "review: out of memory");
    } else {
        result = write_parts(&review);
    }
    if (result == 0 && (fflush(out) != 0 || ferror(out))) {
        result = error_set(error, ERROR_IO, "review: can't write");
    }
    free(review.alone);
    text_free(&review.text);
    site_free(site);
    return result;
}
