/* The part of a reading that may change from one sample to the next: pulses, bursts, footsteps,
 * the motion output. Must never depend on where a read began. Called by sampler.c. */
#include <math.h>

#include "common/clock.h"
#include "node/world/field.h"
#include "node/world/radio.h"
#include "node/world/world.h"
#include "node/world/world_parts.h"

/* The times of a run of samples. */
struct run {
    int64_t t0_ns;
    double period_ns;
    double *values;
    size_t count;
};

static int64_t run_time(const struct run *run, size_t i)
{
    return run->t0_ns + llround((double)i * run->period_ns);
}

static int64_t run_end(const struct run *run)
{
    return run_time(run, run->count ? run->count - 1 : 0);
}

static void add_pulses(const struct world_sampler *sampler, size_t channel, const struct run *run)
{
    const struct felt *felt = &sampler->felt;
    const struct span_list *spans = &felt->pulse_spans;
    const struct sampled_channel *sampled = &sampler->sampled[channel];
    for (size_t at = span_list_next(spans, 0, run->t0_ns, run_end(run)); at < spans->count;
         at = span_list_next(spans, at + 1, run->t0_ns, run_end(run))) {
        const struct felt_pulse *pulse = &felt->pulses[spans->spans[at].index];
        double height = sampler->channels[channel].quantity == QUANTITY_MAGNETIC
                            ? vec_dot(pulse->field_t, sampled->axis)
                            : pulse->counts * sampled->sensor.step;
        for (size_t i = 0; height != 0.0 && i < run->count; i++) {
            run->values[i] += height * felt_envelope(pulse, run_time(run, i));
        }
    }
}

static void add_calls(const struct world_sampler *sampler, size_t channel, const struct run *run)
{
    const struct felt *felt = &sampler->felt;
    const struct span_list *spans = &felt->call_spans;
    for (size_t at = span_list_next(spans, 0, run->t0_ns, run_end(run)); at < spans->count;
         at = span_list_next(spans, at + 1, run->t0_ns, run_end(run))) {
        const struct felt_call *call = &felt->calls[spans->spans[at].index];
        double height = call->counts * sampler->sampled[channel].sensor.step;
        for (size_t i = 0; i < run->count; i++) {
            int64_t time_ns = run_time(run, i);
            if (time_ns <= spans->spans[at].end_ns) {
                run->values[i] += height * radio_burst_level((double)(time_ns - call->start_ns) /
                                                             (double)NS_PER_S);
            }
        }
    }
}

static void add_footsteps(const struct world_sampler *sampler, size_t channel,
                          const struct run *run)
{
    const struct world *world = sampler->world;
    const struct span_list *spans = &world->moving;
    for (size_t at = span_list_next(spans, 0, run->t0_ns, run_end(run)); at < spans->count;
         at = span_list_next(spans, at + 1, run->t0_ns, run_end(run))) {
        const struct mover *mover = &world->movers[spans->spans[at].index];
        for (size_t i = 0; i < run->count; i++) {
            int64_t time_ns = run_time(run, i);
            double place[3];
            if (time_ns > path_end_ns(&mover->path)) {
                break;
            }
            path_place(&mover->path, time_ns, place);
            double since = (double)(time_ns - path_start_ns(&mover->path)) / (double)NS_PER_S;
            run->values[i] += people_footstep_m_s2(since, vec_distance(place, sampler->at)) *
                              (0.3 + 0.7 * sampler->sampled[channel].axis[2]);
        }
    }
}

void sampler_add_fast(const struct world_sampler *sampler, size_t channel, int64_t t0_ns,
                      double period_ns, double *values, size_t count)
{
    const struct run run = {t0_ns, period_ns, values, count};
    switch (sampler->channels[channel].quantity) {
    case QUANTITY_MAGNETIC:
        add_pulses(sampler, channel, &run);
        break;
    case QUANTITY_ELECTRIC:
        add_pulses(sampler, channel, &run);
        add_calls(sampler, channel, &run);
        break;
    case QUANTITY_VIBRATION:
        add_footsteps(sampler, channel, &run);
        break;
    case QUANTITY_MOTION:
        for (size_t i = 0; i < count; i++) {
            values[i] = (double)world_sampler_motion(sampler, run_time(&run, i));
        }
        break;
    default:
        break;
    }
}
