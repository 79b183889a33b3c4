/* Notices of the clocks, then the findings that changed.
 * Must never change which findings the review shows. Called by review.c. */
#include "collector/export/review_refit.h"

#include <inttypes.h>
#include <stdbool.h>
#include <string.h>

#include "collector/export/changes.h"
#include "common/timefmt.h"

struct refit_part {
    const struct site *site;
    FILE *out;
};

static int write_clock(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    const struct refit_part *part = context;
    (void)time_ns;
    if (strcmp(quantity, "clock") == 0 && node < part->site->node_count) {
        fprintf(part->out, "  %s: ", part->site->nodes[node].id);
        for (const char *c = text; *c; c++) {
            (void)fputc((unsigned char)*c < ' ' || *c == 0x7f ? ' ' : *c, part->out);
        }
        (void)fputc('\n', part->out);
    }
    return 0;
}

static void write_sum(const struct refit_part *part, const struct changes *changes, int analysis)
{
    char most[TIMEFMT_SIZE];
    timefmt_duration(changes->most_ns, most);
    if (changes->differ + changes->gone + changes->fresh == 0) {
        fprintf(part->out, "  All %" PRIu64 " findings say the same by those times", changes->same);
    } else {
        fprintf(part->out,
                "  By those times %" PRIu64 " findings say the same, %" PRIu64
                " something else, %" PRIu64 " are gone, %" PRIu64 " are new",
                changes->same, changes->differ, changes->gone, changes->fresh);
    }
    fprintf(part->out,
            "; no start moved by more than %s. (--analysis %d shows them; below is what "
            "was found live.)\n",
            most, analysis);
}

int review_write_refit(struct night_reader *reader, const struct site *site, FILE *out,
                       struct error *error)
{
    struct night_info info;
    struct changes changes;
    struct refit_part part = {.site = site, .out = out};
    if (night_read_info(reader, &info, error) != 0) {
        return -1;
    }
    if (info.refit == 0) {
        return 0;
    }
    fprintf(out, "\nClocks fitted again from the whole night (analysis %d)\n", info.refit);
    if (night_each_notice(reader, info.refit, write_clock, &part, error) != 0 ||
        changes_find(reader, site, info.analysis, info.refit, out, &changes, error) != 0) {
        return -1;
    }
    write_sum(&part, &changes, info.refit);
    return 0;
}
