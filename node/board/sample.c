/* Two batches in turn, a ring of edges.
 * Must never have two writers of one at once. Called by the interrupts (avr/) and board.c. */
#include "node/board/sample.h"

static void widen(struct report_samples *samples, uint16_t value, uint16_t at)
{
    if (value > samples->high) {
        samples->high = value;
        samples->high_at = at;
    }
    if (value < samples->low) {
        samples->low = value;
        samples->low_at = at;
    }
}

/* Ends the batch that is filled and goes over to the other, if that one was read. */
static void turn_over(struct sampler *sampler)
{
    sampler->full[sampler->filling] = true;
    sampler->filling ^= 1u;
}

static struct sample_batch *room(struct sampler *sampler)
{
    return sampler->full[sampler->filling] ? 0 : &sampler->batches[sampler->filling];
}

void sampler_take(struct sampler *sampler, uint16_t value)
{
    struct sample_batch *batch = room(sampler);
    if (batch && batch->samples.count == REPORT_BATCH) {
        turn_over(sampler); /* only now, so that the glances after the last sample are in */
        batch = room(sampler);
    }
    if (!batch) {
        sampler_miss(sampler);
        return;
    }
    struct report_samples *samples = &batch->samples;
    if (samples->count == 0) {
        batch->tick = sampler->next_tick;
        samples->high = samples->low = value;
        samples->high_at = samples->low_at = 0;
    }
    sampler->after = (uint16_t)(sampler->next_tick - batch->tick);
    samples->values[samples->count++] = value;
    samples->lost = sampler->lost;
    widen(samples, value, sampler->after);
    sampler->next_tick += REPORT_SAMPLE_TICKS;
    sampler->alive = true;
}

void sampler_glance(struct sampler *sampler, uint16_t value, uint8_t since)
{
    struct sample_batch *batch = room(sampler);
    if (batch && batch->samples.count > 0) {
        widen(&batch->samples, value, (uint16_t)(sampler->after + since));
    }
}

/* The batch ends here: its samples are evenly spaced. */
void sampler_miss(struct sampler *sampler)
{
    struct sample_batch *batch = room(sampler);
    if (batch && batch->samples.count > 0) {
        turn_over(sampler);
    }
    sampler->lost++;
    sampler->next_tick += REPORT_SAMPLE_TICKS;
}

void sampler_edge(struct sampler *sampler, uint32_t tick, bool level)
{
    uint8_t in = sampler->edge_in;
    if ((uint8_t)(in - sampler->edge_out) == SAMPLE_EDGES) {
        sampler->edges_lost++;
        return;
    }
    sampler->edges[in % SAMPLE_EDGES] = (struct sample_edge){.tick = tick, .level = level};
    sampler->edge_in = (uint8_t)(in + 1u);
}

const struct sample_batch *sampler_full(const struct sampler *sampler)
{
    /* The one that is not being filled is the older one; both may be full. */
    uint8_t other = sampler->filling ^ 1u;
    if (sampler->full[sampler->filling]) {
        return &sampler->batches[sampler->filling];
    }
    return sampler->full[other] ? &sampler->batches[other] : 0;
}

void sampler_done(struct sampler *sampler, const struct sample_batch *batch)
{
    uint8_t which = batch == &sampler->batches[1];
    sampler->batches[which].samples.count = 0;
    sampler->full[which] = false;
}

bool sampler_next_edge(struct sampler *sampler, struct sample_edge *edge)
{
    uint8_t out = sampler->edge_out;
    if (out == sampler->edge_in) {
        return false;
    }
    *edge = sampler->edges[out % SAMPLE_EDGES];
    sampler->edge_out = (uint8_t)(out + 1u);
    return true;
}
