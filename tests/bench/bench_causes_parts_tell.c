/* A finding of a play in words: what each member saw, and what each cause said of it.
 * Must never judge. Part of bench_causes. */
#include "bench_causes.h"

static void print_member(const struct site *site, const struct disturbance *member, double start_s)
{
    printf(
        "    %-4s %-11s %s at %+.3f sd %.3f peak %.3g after %.3f lasts %.2f score %.3g over %.2g"
        " settle %.3g step %.3g mains %.3g>%.3g axes %.3g %.3g %.3g repeat %.1f turn "
        "%.2f/%.2f/%.2f alike %.2f%s%s%s\n",
        site->nodes[member->node].id, member->quantity_text,
        member->band == BAND_MAINS ? "mains" : "rest ", (double)member->onset_ns * 1e-9 - start_s,
        (double)disturbance_onset_sd_ns(member) * 1e-9, member->peak_value,
        (double)(member->peak_ns - member->onset_ns) * 1e-9,
        member->end_ns ? (double)(member->end_ns - member->onset_ns) * 1e-9 : -1.0,
        member->peak_score, member->peak_score / member->threshold, member->settle_peak_score,
        member->settle_step, member->mains_before, member->mains_after, member->peak_axes[0],
        member->peak_axes[1], member->peak_axes[2], member->repeat_hz, member->across_score,
        member->along_score, member->across_least, member->alike, member->one_sample ? " one" : "",
        member->clipped ? " clipped" : "", member->returned ? "" : " cut");
}

void run_print(const struct run *run, const struct coincidence *coincidence, size_t event)
{
    double start_s = (double)coincidence->start_ns * 1e-9;
    printf("h%llu %s %8.2f ", (unsigned long long)run->house->seed, run->play->name, start_s);
    if (event < run->events) {
        printf("event %zu %+.2f", event, start_s - run->at_s[event]);
    } else {
        printf("no event");
    }
    printf(" %s %s%s nodes %zu members %zu\n", coincidence_kind_text(coincidence->kind),
           cause_text(coincidence->verdict.cause), coincidence->again ? " (again)" : "",
           coincidence->node_count, coincidence->member_count);
    for (size_t i = 0; i < coincidence->member_count; i++) {
        print_member(run->house->site, &coincidence->members[i], start_s);
    }
    for (size_t i = 0; i < coincidence->verdict.reason_count; i++) {
        printf("      %s\n", coincidence->verdict.reasons[i]);
    }
}
