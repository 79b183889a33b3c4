/* Where UTC lies on the site's clock, for nodes that keep UTC by themselves: the site's clock runs
 * free and leaves UTC by as much as this machine's crystal is off. Known as well as this machine's
 * kernel keeps UTC, or hardly at all. Must never move the site's clock. Used by session_clock.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_UTC_LINE_H
#define ROOMWAKE_COLLECTOR_RECORD_UTC_LINE_H

#include "collector/record/site_clock.h"
#include "common/clock_fit.h"
#include "common/kernel_clock.h"

/* Caller-owned; fields are private. */
struct utc_line {
    struct kernel_clock kernel;
    struct kernel_leaps leaps;
    struct clock_fitter fitter; /* from the machine's raw clock to UTC */
    struct clock_fit fit;       /* the same, as of the last look that the kernel vouched for */
    int64_t looked_ns;          /* on the raw clock; 0: never */
    int64_t slept_ns;
};

void utc_line_init(struct utc_line *line, struct kernel_clock kernel);
/* Asks the kernel, at most every 16 s. */
void utc_line_look(struct utc_line *line, const struct site_clock *clock);
/* From UTC to the site's time. Before the kernel ever vouched for its clock: what the site's clock
 * was set by, as far off as that was said to be, and by a crystal's 100 ppm since. */
struct clock_fit utc_line_to_site(const struct utc_line *line, const struct site_clock *clock);

#endif
