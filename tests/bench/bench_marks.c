/* A walker who marked himself, in so many seeded nights, and the same walks unmarked: bench_marks
 * [NIGHTS]. Must never run as part of the tests: it takes minutes. */
#include "marks_night.h"

int main(int argc, char **argv)
{
    static const char *const names[MARKS_WAYS] = {"unmarked", "marked with a length",
                                                  "marked until ended", "marked a minute late"};
    uint64_t nights = argc > 1 ? strtoull(argv[1], NULL, 10) : 200;
    static struct marks_night night;
    struct error error;
    size_t standing[MARKS_WAYS] = {0};
    size_t seen[MARKS_WAYS] = {0};
    size_t called[MARKS_WAYS] = {0};
    for (uint64_t seed = 1; seed <= nights; seed++) {
        enum marks_way marked = (enum marks_way)(1 + seed % (MARKS_WAYS - 1));
        for (int i = 0; i < 2; i++) {
            enum marks_way way = i ? marked : MARKS_NONE;
            if (marks_run(&night, seed, way, &error) != 0) {
                fprintf(stderr, "%s\n", error.text);
                return 1;
            }
            standing[way] += night.alerts_of_walks;
            seen[way] += night.seen;
            called[way] += night.called;
        }
    }
    for (int way = 0; way < MARKS_WAYS; way++) {
        printf("%-22s walks with a finding %5zu, called person walking %5zu, alerts %zu\n",
               names[way], seen[way], called[way], standing[way]);
    }
    return standing[MARKS_FOR] + standing[MARKS_RUNNING] + standing[MARKS_LATE] > 0;
}
