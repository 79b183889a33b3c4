/* Pairs of the raw clock and the kernel's UTC, fitted as a node fits its own.
 * Must never believe a kernel that does not vouch for its clock. Called by session_clock.c. */
#include "collector/record/utc_line.h"

#define LOOK_EVERY_NS (16 * NS_PER_S)
#define PAIRS 8
#define SPAN_NS (7200 * NS_PER_S)
#define CRYSTAL_PPB 100000 /* a board's crystal is within 100 ppm: common practice, no source */

static void forget(struct utc_line *line)
{
    clock_fitter_init(&line->fitter, SPAN_NS, CRYSTAL_PPB);
    line->fit = (struct clock_fit){0};
}

void utc_line_init(struct utc_line *line, struct kernel_clock kernel)
{
    *line = (struct utc_line){.kernel = kernel};
    forget(line);
}

void utc_line_look(struct utc_line *line, const struct site_clock *clock)
{
    struct clock_exchange pairs[PAIRS];
    struct kernel_reading reading;
    int64_t now_ns = clock->source.mono_ns(clock->source.context);
    if (line->looked_ns != 0 && now_ns - line->looked_ns < LOOK_EVERY_NS) {
        return;
    }
    if (clock->slept_ns != line->slept_ns) {
        forget(line);
        line->slept_ns = clock->slept_ns;
    }
    line->looked_ns = now_ns;
    int count =
        kernel_clock_burst(&line->kernel, &clock->source, &line->leaps, pairs, PAIRS, &reading);
    if (count > 0 && clock_fitter_add_burst(&line->fitter, pairs, (size_t)count)) {
        clock_fitter_line(&line->fitter, now_ns, &line->fit);
        kernel_clock_widen(&reading, &line->fit);
    }
}

struct clock_fit utc_line_to_site(const struct utc_line *line, const struct site_clock *clock)
{
    if (!line->fit.known) {
        return (struct clock_fit){.known = true,
                                  .ref_node_ns = clock->set_ns,
                                  .uncertainty_ns = clock->utc_error_ns,
                                  .growth_ppb = CRYSTAL_PPB};
    }
    struct clock_fit to_raw = clock_fit_inverse(&line->fit);
    const struct clock_fit to_site = {.known = true, .offset_ns = site_clock_less_mono_ns(clock)};
    return clock_fit_chain(&to_raw, &to_site);
}
