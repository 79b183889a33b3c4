/* Seeded events of every ordinary cause and of none, through simulated houses, the detectors and
 * the correlator: how often each verdict is right. bench_causes [--houses A-B] [--events N]
 * [--kind K] [--keep DIR | --from DIR] [-v | --misses].
 * Must never run as part of the tests: it takes many minutes. */
#include "bench_causes.h"

#include <math.h>
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
    bool misses;
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

/* Of one event: what its greatest finding was called. */
struct minute {
    size_t nodes; /* of those that the event can have acted on; 0: no finding */
    double over;  /* the highest peak in units of its threshold */
    enum cause_kind verdict;
    bool wrong;
    unsigned causes; /* bits, of all its findings */
};

struct bench {
    const struct options *options;
    struct run *run;
    struct tally *tally;
    size_t count; /* findings, each as it was told last */
    size_t size;
    struct coincidence **findings; /* owned */
    bool failed;
    struct minute minutes[BENCH_EVENTS_MAX];
};

static bool right(enum cause_kind wanted, enum cause_kind verdict)
{
    if (wanted == BENCH_MIXED) {
        return verdict == CAUSE_MOVING_MAGNET || verdict == CAUSE_PERSON_WALKING ||
               verdict == CAUSE_RADIO_BURST;
    }
    return wanted == verdict;
}

static bool acts_on(const struct play *play, const struct disturbance *member)
{
    bool found = false;
    for (size_t i = 0; i < 3 && play->acts_on[i]; i++) {
        found |= strcmp(member->quantity_text, play->acts_on[i]) == 0;
    }
    return found;
}

static bool is_time_of(const struct run *run, size_t event, int64_t time_ns)
{
    double time_s = (double)time_ns * 1e-9;
    return time_s > run->at_s[event] - 2.0 && time_s < run->at_s[event] + run->play->after_s;
}

/* Nodes disturbed in its time, in a quantity that it acts on. */
static size_t nodes_of_event(const struct run *run, size_t event,
                             const struct coincidence *coincidence)
{
    size_t nodes = 0;
    for (size_t i = 0; i < coincidence->order_count; i++) {
        bool found = false;
        for (size_t k = 0; k < coincidence->member_count; k++) {
            const struct disturbance *member = &coincidence->members[k];
            found |= member->node == coincidence->order[i].node && acts_on(run->play, member) &&
                     is_time_of(run, event, member->onset_ns);
        }
        nodes += found;
    }
    return nodes;
}

/* The last word on each finding counts. */
static void on_coincidence(void *context, const struct coincidence *coincidence)
{
    struct bench *bench = context;
    size_t at = bench->count;
    if (!coincidence->final || bench->failed) {
        return;
    }
    while (at > 0 && bench->findings[at - 1]->id != coincidence->id) {
        at--;
    }
    if (at > 0) {
        *bench->findings[at - 1] = *coincidence;
        return;
    }
    if (bench->count == bench->size) {
        size_t size = bench->size ? 2 * bench->size : 64;
        struct coincidence **more = realloc(bench->findings, size * sizeof *more);
        bench->findings = more ? more : bench->findings;
        bench->size = more ? size : bench->size;
    }
    struct coincidence *copy = malloc(sizeof *copy);
    bench->failed = !copy || bench->count == bench->size;
    if (bench->failed) {
        free(copy);
        return;
    }
    *copy = *coincidence;
    bench->findings[bench->count++] = copy;
}

/* Whose doing most of it is, whatever noise began it; of equals the last. run->events for none. */
static size_t event_of(const struct run *run, const struct coincidence *coincidence)
{
    size_t event = run->events;
    size_t most = 0;
    for (size_t i = 0; i < run->events; i++) {
        size_t nodes = nodes_of_event(run, i, coincidence);
        if (nodes >= most && (nodes > 0 || is_time_of(run, i, coincidence->start_ns))) {
            event = i;
            most = nodes;
        }
    }
    return event;
}

/* By nodes, then by height. */
static bool greater(const struct minute *minute, size_t nodes, double over)
{
    return nodes > minute->nodes || (nodes == minute->nodes && over > minute->over);
}

static double highest(const struct run *run, const struct coincidence *coincidence)
{
    double highest = 0.0;
    for (size_t i = 0; i < coincidence->member_count; i++) {
        const struct disturbance *member = &coincidence->members[i];
        if (acts_on(run->play, member)) {
            highest = fmax(highest, fabs(member->peak_score) / member->threshold);
        }
    }
    return highest;
}

static void count_finding(struct bench *bench, const struct coincidence *coincidence)
{
    const struct run *run = bench->run;
    size_t event = event_of(run, coincidence);
    enum cause_kind verdict = coincidence->verdict.cause;
    size_t nodes = event < run->events ? nodes_of_event(run, event, coincidence) : 0;
    if (nodes < 2) {
        bench->tally->stray++;
        /* A cause at one node and anything at another is not misnamed by that cause. */
        bool its_own = event < run->events && verdict == run->play->cause;
        bench->tally->strays[verdict] += !its_own;
        return;
    }
    bool well = right(run->play->cause, verdict);
    if (greater(&bench->minutes[event], nodes, highest(run, coincidence))) {
        bench->minutes[event].nodes = nodes;
        bench->minutes[event].over = highest(run, coincidence);
        bench->minutes[event].verdict = verdict;
    }
    bench->minutes[event].wrong |= !well && verdict != CAUSE_UNEXPLAINED;
    bench->minutes[event].causes |= 1u << verdict;
    bench->tally->verdicts[verdict]++;
}

static bool missed(const struct bench *bench, const struct minute *minute)
{
    return minute->nodes > 0 && (minute->wrong || !right(bench->run->play->cause, minute->verdict));
}

static void print_findings(const struct bench *bench)
{
    for (size_t i = 0; i < bench->count; i++) {
        const struct coincidence *coincidence = bench->findings[i];
        size_t event = event_of(bench->run, coincidence);
        bool named_beside =
            event == bench->run->events && coincidence->verdict.cause != CAUSE_UNEXPLAINED;
        bool miss = event < bench->run->events && missed(bench, &bench->minutes[event]);
        if (bench->options->verbose || (bench->options->misses && (miss || named_beside))) {
            run_print(bench->run, coincidence, event);
        }
    }
}

static void add_up(struct bench *bench)
{
    const unsigned all =
        1u << CAUSE_MOVING_MAGNET | 1u << CAUSE_PERSON_WALKING | 1u << CAUSE_RADIO_BURST;
    for (size_t i = 0; i < bench->count; i++) {
        count_finding(bench, bench->findings[i]);
    }
    for (size_t i = 0; i < bench->run->events; i++) {
        const struct minute *minute = &bench->minutes[i];
        bench->tally->events++;
        bench->tally->seen += minute->nodes > 0;
        bench->tally->named += minute->nodes > 0 && right(bench->run->play->cause, minute->verdict);
        bench->tally->wrong += minute->wrong;
        bench->tally->apart += (minute->causes & all) == all && !minute->wrong;
    }
    print_findings(bench);
}

static void free_findings(struct bench *bench)
{
    for (size_t i = 0; i < bench->count; i++) {
        free(bench->findings[i]);
    }
    free(bench->findings);
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
    if (bench->failed) {
        status = error_set(error, ERROR_MEMORY, "out of memory");
    }
    add_up(bench);
    free_findings(bench);
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
        if (strcmp(argv[i], "--misses") == 0) {
            options->misses = true;
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
                        "DIR] [-v | --misses]\n");
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
