/* Seeded events of every ordinary cause and of none, through simulated houses, the detectors and
 * the correlator: how often each verdict is right. bench_causes [--houses A-B] [--events N] [--kind
 * K]
 * [--keep DIR | --from DIR] [-v]. Must never run as part of the tests: it takes many minutes. */
#include "bench_causes.h"

#include <stdlib.h>
#include <string.h>

struct options {
    uint64_t first;
    uint64_t last;
    size_t events;
    const char *kind;
    const char *keep;
    const char *from;
    bool verbose;
};

/* Of one play, over all houses. */
struct tally {
    size_t events;
    size_t seen;                  /* events with a finding */
    size_t named;                 /* events with a finding that has the right cause */
    size_t wrong;                 /* events with a finding of another cause */
    size_t verdicts[CAUSE_COUNT]; /* findings */
    size_t stray;                 /* findings of what was not the event's doing */
    size_t strays[CAUSE_COUNT];
    size_t apart; /* mixed: minutes in which all that was there was told */
    size_t there;
};

/* Of one event: what its greatest finding, by nodes, was called. */
struct minute {
    size_t nodes; /* of those that the event can have acted on; 0: no finding */
    enum cause_kind verdict;
    bool wrong;
    unsigned causes; /* bits, of all its findings */
};

struct bench {
    const struct options *options;
    struct run *run;
    struct tally *tally;
    struct minute minutes[BENCH_EVENTS_MAX];
};

static void print_member(const struct site *site, const struct disturbance *member, double start_s)
{
    printf("    %-4s %-11s %s at %+.3f sd %.3f peak %.3g after %.3f lasts %.2f score %.3g over %.2g"
           " settle %.3g step %.3g mains %.3g>%.3g axes %.3g %.3g %.3g repeat %.1f%s%s%s\n",
           site->nodes[member->node].id, member->quantity_text,
           member->band == BAND_MAINS ? "mains" : "rest ",
           (double)member->onset_ns * 1e-9 - start_s,
           (double)disturbance_onset_sd_ns(member) * 1e-9, member->peak_value,
           (double)(member->peak_ns - member->onset_ns) * 1e-9,
           member->end_ns ? (double)(member->end_ns - member->onset_ns) * 1e-9 : -1.0,
           member->peak_score, member->peak_score / member->threshold, member->settle_peak_score,
           member->settle_step, member->mains_before, member->mains_after, member->peak_axes[0],
           member->peak_axes[1], member->peak_axes[2], member->repeat_hz,
           member->one_sample ? " one" : "", member->clipped ? " clipped" : "",
           member->returned ? "" : " cut");
}

static void print_finding(const struct bench *bench, const struct coincidence *coincidence,
                          size_t event)
{
    double start_s = (double)coincidence->start_ns * 1e-9;
    printf("h%llu %s %8.2f %+7.2f %s %s nodes %zu members %zu\n",
           (unsigned long long)bench->run->house->seed, bench->run->play->name, start_s,
           event < bench->run->events ? start_s - bench->run->at_s[event] : 0.0,
           coincidence_kind_text(coincidence->kind), cause_text(coincidence->verdict.cause),
           coincidence->node_count, coincidence->member_count);
    for (size_t i = 0; i < coincidence->member_count; i++) {
        print_member(bench->run->house->site, &coincidence->members[i], start_s);
    }
    for (size_t i = 0; i < coincidence->verdict.reason_count; i++) {
        printf("      %s\n", coincidence->verdict.reasons[i]);
    }
}

static bool right(enum cause_kind wanted, enum cause_kind verdict)
{
    if (wanted == BENCH_MIXED) {
        return verdict == CAUSE_MOVING_MAGNET || verdict == CAUSE_PERSON_WALKING ||
               verdict == CAUSE_RADIO_BURST;
    }
    return wanted == verdict;
}

/* Nodes disturbed in a quantity that the event acts on. */
static size_t nodes_of_event(const struct play *play, const struct coincidence *coincidence)
{
    size_t nodes = 0;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        bool found = false;
        for (size_t k = 0; k < coincidence->member_count && !found; k++) {
            const struct disturbance *member = &coincidence->members[k];
            for (size_t q = 0; q < 3 && play->acts_on[q]; q++) {
                found |= member->node == coincidence->order[i].node &&
                         strcmp(member->quantity_text, play->acts_on[q]) == 0;
            }
        }
        nodes += found;
    }
    return nodes;
}

static void on_coincidence(void *context, const struct coincidence *coincidence)
{
    struct bench *bench = context;
    const struct run *run = bench->run;
    double start_s = (double)coincidence->start_ns * 1e-9;
    if (!coincidence->final) {
        return;
    }
    size_t event = run->events;
    for (size_t i = 0; i < run->events; i++) {
        if (start_s > run->at_s[i] - 2.0 && start_s < run->at_s[i] + run->play->after_s) {
            event = i;
        }
    }
    enum cause_kind verdict = coincidence->verdict.cause;
    size_t nodes = event < run->events ? nodes_of_event(run->play, coincidence) : 0;
    if (nodes < 2) {
        bench->tally->stray++;
        /* A cause at one node and anything at another is not misnamed by that cause. */
        bool its_own = event < run->events && verdict == run->play->cause;
        bench->tally->strays[verdict] += !its_own;
    } else {
        bool well = right(run->play->cause, verdict);
        if (nodes > bench->minutes[event].nodes) {
            bench->minutes[event].nodes = nodes;
            bench->minutes[event].verdict = verdict;
        }
        bench->minutes[event].wrong |= !well && verdict != CAUSE_UNEXPLAINED;
        bench->minutes[event].causes |= 1u << verdict;
        bench->tally->verdicts[verdict]++;
    }
    if (bench->options->verbose) {
        print_finding(bench, coincidence, event);
    }
}

static void add_up(struct bench *bench)
{
    const unsigned all =
        1u << CAUSE_MOVING_MAGNET | 1u << CAUSE_PERSON_WALKING | 1u << CAUSE_RADIO_BURST;
    for (size_t i = 0; i < bench->run->events; i++) {
        const struct minute *minute = &bench->minutes[i];
        bench->tally->events++;
        bench->tally->seen += minute->nodes > 0;
        bench->tally->named += minute->nodes > 0 && right(bench->run->play->cause, minute->verdict);
        bench->tally->wrong += minute->wrong;
        bench->tally->apart += (minute->causes & all) == all && !minute->wrong;
    }
}

static FILE *open_kept(const char *folder, const struct run *run, const char *mode)
{
    char path[512];
    (void)snprintf(path, sizeof path, "%s/h%llu-%s", folder, (unsigned long long)run->house->seed,
                   run->play->name);
    return fopen(path, mode);
}

static int run_house(const struct options *options, const struct play *play, uint64_t seed,
                     struct tally *tally, struct error *error)
{
    struct house house;
    struct bench *bench = calloc(1, sizeof *bench);
    if (!bench || house_build(seed, &house, error)) {
        free(bench);
        return -1;
    }
    struct run run = {.house = &house,
                      .play = play,
                      .events = options->events,
                      .context = bench,
                      .coincidence = on_coincidence};
    *bench = (struct bench){.options = options, .run = &run, .tally = tally};
    run_plan(&run);
    FILE *kept = options->from ? open_kept(options->from, &run, "rb") : NULL;
    run.keep = options->keep ? open_kept(options->keep, &run, "wb") : NULL;
    int status = kept ? run_again(&run, kept, error) : run_simulate(&run, error);
    add_up(bench);
    if (kept) {
        (void)fclose(kept);
    }
    if (run.keep) {
        (void)fclose(run.keep);
    }
    house_free(&house);
    free(bench);
    return status;
}

static void print_tally(const struct play *play, const struct tally *tally)
{
    printf("%-12s %3zu events, %3zu seen, %3zu named (%.1f %%), %zu misnamed; findings:",
           play->name, tally->events, tally->seen, tally->named,
           100.0 * (double)tally->named / (double)(tally->seen ? tally->seen : 1), tally->wrong);
    for (int cause = 0; cause < CAUSE_COUNT; cause++) {
        if (tally->verdicts[cause]) {
            printf(" %s %zu", cause_text((enum cause_kind)cause), tally->verdicts[cause]);
        }
    }
    if (play->cause == BENCH_MIXED) {
        printf("; all three told apart in %zu", tally->apart);
    }
    printf("; %zu beside", tally->stray);
    for (int cause = 1; cause < CAUSE_COUNT; cause++) {
        if (tally->strays[cause]) {
            printf(" %s %zu", cause_text((enum cause_kind)cause), tally->strays[cause]);
        }
    }
    printf("\n");
    (void)fflush(stdout);
}

/* Of all findings that were given a cause, how many had it. The mixed minutes are left out: which
 * of their findings is whose is not known. */
static void print_precision(const struct tally *tallies)
{
    for (size_t i = 0; i < play_count; i++) {
        enum cause_kind cause = plays[i].cause;
        size_t given = 0;
        if (cause == BENCH_MIXED || cause == CAUSE_UNEXPLAINED) {
            continue;
        }
        for (size_t k = 0; k < play_count; k++) {
            given += plays[k].cause != BENCH_MIXED
                         ? tallies[k].verdicts[cause] + tallies[k].strays[cause]
                         : 0;
        }
        printf("%-16s given %4zu times, rightly %4zu (%.1f %%)\n", cause_text(cause), given,
               tallies[i].verdicts[cause],
               100.0 * (double)tallies[i].verdicts[cause] / (double)(given ? given : 1));
    }
}

static int read_options(int argc, char **argv, struct options *options)
{
    for (int i = 1; i < argc; i++) {
        const char *value = i + 1 < argc ? argv[i + 1] : "";
        unsigned long long low = 0;
        unsigned long long high = 0;
        if (strcmp(argv[i], "-v") == 0) {
            options->verbose = true;
            continue;
        }
        if (strcmp(argv[i], "--houses") == 0 && sscanf(value, "%llu-%llu", &low, &high) == 2) {
            options->first = low;
            options->last = high;
        } else if (strcmp(argv[i], "--events") == 0) {
            options->events = strtoul(value, NULL, 10);
        } else if (strcmp(argv[i], "--kind") == 0) {
            options->kind = value;
        } else if (strcmp(argv[i], "--keep") == 0) {
            options->keep = value;
        } else if (strcmp(argv[i], "--from") == 0) {
            options->from = value;
        } else {
            return -1;
        }
        i++;
    }
    return options->events >= 1 && options->events <= BENCH_EVENTS_MAX ? 0 : -1;
}

int main(int argc, char **argv)
{
    struct options options = {.first = 101, .last = 110, .events = 50};
    struct error error = {0};
    struct tally tallies[32] = {0};
    if (read_options(argc, argv, &options)) {
        fprintf(stderr, "bench_causes [--houses A-B] [--events N] [--kind K] [--keep DIR | --from "
                        "DIR] [-v]\n");
        return 2;
    }
    for (size_t i = 0; i < play_count; i++) {
        if (options.kind && strcmp(options.kind, plays[i].name) != 0) {
            continue;
        }
        for (uint64_t seed = options.first; seed <= options.last; seed++) {
            if (run_house(&options, &plays[i], seed, &tallies[i], &error)) {
                fprintf(stderr, "bench_causes: house %llu, %s: %s\n", (unsigned long long)seed,
                        plays[i].name, error.text);
                return 1;
            }
        }
        print_tally(&plays[i], &tallies[i]);
    }
    if (!options.kind) {
        print_precision(tallies);
    }
    return 0;
}
