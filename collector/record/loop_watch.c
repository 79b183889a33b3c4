/* A turn of the loop is what it does between two waits: libuv tells how long it waited, the rest
 * was busy, with its own work or waiting for the processor or the disk. Must never change what the
 * loop does. Called by session.c. */
#include "collector/record/loop_watch.h"

#include <math.h>

#include "common/clock.h"

#define FIRST_NS 1000.0
#define AN_OCTAVE 4.0
#define TELL_AGAIN_NS (60 * NS_PER_S)

static int bucket_of(int64_t busy_ns)
{
    double place = busy_ns > 0 ? ceil(AN_OCTAVE * log2((double)busy_ns / FIRST_NS)) : 0;
    return place <= 0 ? 0 : place >= LOOP_LAG_BUCKETS ? LOOP_LAG_BUCKETS - 1 : (int)place;
}

/* The longest that belongs into it. */
static double bucket_end_ns(int bucket)
{
    return FIRST_NS * exp2(bucket / AN_OCTAVE);
}

void loop_lag_add(struct loop_lag *lag, int64_t busy_ns, int64_t own_ns, int64_t idle_ns)
{
    int bucket = bucket_of(busy_ns);
    lag->turns[bucket]++;
    lag->busy_ns[bucket] += busy_ns;
    lag->whole_ns += busy_ns + idle_ns;
    if (busy_ns > lag->longest_ns) {
        lag->longest_ns = busy_ns;
        lag->longest_own_ns = own_ns;
    }
}

/* Of a turn that was busy for b, the moments that waited longer than x are its first b - x. */
int64_t loop_lag_most_ns(const struct loop_lag *lag, double share)
{
    double allowed_ns = (1 - share) * (double)lag->whole_ns;
    double turns = 0;
    double busy_ns = 0;
    for (int bucket = LOOP_LAG_BUCKETS - 1; bucket > 0; bucket--) {
        turns += (double)lag->turns[bucket];
        busy_ns += (double)lag->busy_ns[bucket];
        if (busy_ns - turns * bucket_end_ns(bucket - 1) > allowed_ns) {
            double end_ns = bucket_end_ns(bucket);
            bool has_end = bucket < LOOP_LAG_BUCKETS - 1 && end_ns < (double)lag->longest_ns;
            return has_end ? (int64_t)end_ns : lag->longest_ns;
        }
    }
    return 0;
}

void loop_watch_turn(struct loop_watch *watch, int64_t now_ns, int64_t idle_ns, int64_t own_ns)
{
    int64_t waited_ns = idle_ns - watch->idle_ns;
    int64_t busy_ns = now_ns - watch->at_ns - waited_ns;
    int64_t used_ns = own_ns - watch->own_ns;
    bool first = watch->at_ns == 0; /* what was before the loop ran is no turn of it */
    watch->at_ns = now_ns;
    watch->idle_ns = idle_ns;
    watch->own_ns = own_ns;
    if (first) {
        return;
    }
    loop_lag_add(&watch->lag, busy_ns > 0 ? busy_ns : 0, used_ns, waited_ns);
    if (busy_ns >= LOOP_HELD_UP_NS &&
        (watch->told_ns == 0 || now_ns - watch->told_ns >= TELL_AGAIN_NS)) {
        watch->told_ns = now_ns;
        watch->held_up(watch->context, busy_ns, used_ns);
    }
}

static void on_prepare(uv_prepare_t *prepare)
{
    loop_watch_turn(prepare->data, (int64_t)uv_hrtime(),
                    (int64_t)uv_metrics_idle_time(prepare->loop), clock_thread_used_ns());
}

int loop_watch_start(struct loop_watch *watch, uv_loop_t *loop,
                     void (*held_up)(void *context, int64_t busy_ns, int64_t own_ns), void *context,
                     struct error *error)
{
    *watch = (struct loop_watch){.held_up = held_up, .context = context};
    int why = uv_loop_configure(loop, UV_METRICS_IDLE_TIME);
    if (why == 0) {
        why = uv_prepare_init(loop, &watch->prepare);
        watch->open = why == 0;
        watch->prepare.data = watch;
    }
    if (why == 0) {
        why = uv_prepare_start(&watch->prepare, on_prepare);
        uv_unref((uv_handle_t *)&watch->prepare);
    }
    return why == 0 ? 0
                    : error_set(error, ERROR_IO, "loop: can't be watched: %s", uv_strerror(why));
}

void loop_watch_stop(struct loop_watch *watch)
{
    if (watch->open) {
        watch->open = false;
        uv_close((uv_handle_t *)&watch->prepare, NULL);
    }
}
