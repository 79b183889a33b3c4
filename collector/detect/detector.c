/* Chooses how a quantity is watched, hands samples on, and lets disturbances out in order.
 * Must never read a clock, do I/O or allocate once made. Called by pipeline.
 */
#include "collector/detect/detector.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/detect/axes.h"
#include "collector/detect/field.h"
#include "collector/detect/hold.h"
#include "collector/detect/motion.h"
#include "collector/detect/outbox.h"
#include "collector/detect/spell.h"

enum kind {
    KIND_IGNORED, /* battery, clock: never a disturbance */
    KIND_FIELD,
    KIND_HELD, /* a level that tells only changes */
    KIND_MOTION,
};

struct detector {
    enum kind kind;
    int64_t until_ns;
    bool finished;
    struct spell spell;
    struct outbox outbox;
    struct axes axes;
    struct field field;
    struct hold hold;
    struct motion motion;
};

static enum kind choose_kind(const struct channel *channel)
{
    if (channel->quantity == QUANTITY_BATTERY || channel->quantity == QUANTITY_CLOCK) {
        return KIND_IGNORED;
    }
    if (channel->quantity == QUANTITY_MOTION) {
        return KIND_MOTION;
    }
    return channel->period_ps > 0 ? KIND_FIELD : KIND_HELD;
}

static int check(const struct detector_settings *settings, const struct channel *channels,
                 const uint16_t *indices, size_t axis_count, struct error *error)
{
    if (axis_count < 1 || axis_count > VECTOR_AXES_MAX) {
        return error_set(error, ERROR_USAGE, "detector: %zu axes, 1 to %d can be", axis_count,
                         VECTOR_AXES_MAX);
    }
    const struct channel *first = &channels[indices[0]];
    for (size_t a = 1; a < axis_count; a++) {
        if (channels[indices[a]].period_ps != first->period_ps || first->period_ps == 0) {
            return error_set(error, ERROR_USAGE, "detector: %s and %s are not of one rate",
                             first->name, channels[indices[a]].name);
        }
    }
    if (!(settings->baseline_s >= 0.0) || !(settings->baseline_s <= 1e6)) {
        return error_set(error, ERROR_RANGE, "detector: baseline_s: %g", settings->baseline_s);
    }
    if (!(settings->false_onsets_per_hour > 0.0)) {
        return error_set(error, ERROR_RANGE, "detector: false_onsets_per_hour: %g, must be above 0",
                         settings->false_onsets_per_hour);
    }
    if (!(settings->mains_hz > 0.0)) {
        return error_set(error, ERROR_RANGE, "detector: mains_hz: %g, must be above 0",
                         settings->mains_hz);
    }
    return 0;
}

static void fill_template(uint32_t node, const struct channel *channel,
                          struct disturbance *template)
{
    char axis[IDENT_SIZE];
    memset(template, 0, sizeof *template);
    template->node = node;
    channel_name_split(channel->name, template->quantity_text, axis);
    template->quantity = channel->quantity;
    snprintf(template->unit, sizeof template->unit, "%s", channel->unit);
}

static int init_parts(struct detector *detector, const struct detector_settings *settings,
                      uint32_t node, const struct channel *channels, const uint16_t *indices,
                      size_t axis_count, struct error *error)
{
    const struct channel *first = &channels[indices[0]];
    struct disturbance template;
    fill_template(node, first, &template);
    template.calibrated = true;
    for (size_t i = 0; i < axis_count; i++) {
        template.calibrated = template.calibrated &&channel_calibrated(&channels[indices[i]]);
    }
    detector->kind = choose_kind(first);
    if (detector->kind == KIND_IGNORED) {
        return 0;
    }
    if (axes_init(&detector->axes, channels, indices, axis_count, error) != 0) {
        return -1;
    }
    if (detector->kind == KIND_MOTION) {
        struct motion_settings motion = {.period_ps = first->period_ps,
                                         .baseline_s = settings->baseline_s,
                                         .start_ns = settings->start_ns,
                                         .goes_on = settings->goes_on,
                                         .spell = &detector->spell,
                                         .template = template,
                                         .outbox = &detector->outbox};
        motion_init(&detector->motion, &motion);
        return 0;
    }
    struct field_settings field = {
        .axes = axis_count,
        .period_ps = detector->kind == KIND_HELD ? HOLD_PERIOD_PS : first->period_ps,
        .quantity = first->quantity,
        .mains_hz = settings->mains_hz,
        .baseline_s = settings->baseline_s,
        .spell = &detector->spell,
        .onsets_per_hour = settings->false_onsets_per_hour,
        .step = pow(10.0, decimal_normal(first->step).exponent),
        .template = template,
        .outbox = &detector->outbox,
    };
    return field_init(&detector->field, &field, error);
}

int detector_new(const struct detector_settings *settings, uint32_t node,
                 const struct channel *channels, const uint16_t *indices, size_t axis_count,
                 const struct detector_sink *sink, struct detector **detector, struct error *error)
{
    if (check(settings, channels, indices, axis_count, error) != 0) {
        return -1;
    }
    struct detector *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "detector: %s", channels[indices[0]].name);
    }
    made->until_ns = INT64_MIN;
    made->spell = (struct spell){.by_hand = settings->by_hand, .end_ns = INT64_MIN};
    made->outbox.sink = *sink;
    if (init_parts(made, settings, node, channels, indices, axis_count, error) != 0) {
        detector_free(made);
        return -1;
    }
    *detector = made;
    return 0;
}

void detector_free(struct detector *detector)
{
    if (!detector) {
        return;
    }
    field_free(&detector->field);
    axes_free(&detector->axes);
    free(detector);
}

static void hand_on(struct detector *detector, const struct axes_run *run)
{
    switch (detector->kind) {
    case KIND_IGNORED:
        break;
    case KIND_FIELD:
        field_push(&detector->field, run->times, run->values, run->count);
        break;
    case KIND_HELD:
        hold_push(&detector->hold, &detector->field, run->times, run->values[0], run->count);
        break;
    case KIND_MOTION:
        motion_push(&detector->motion, run->times, run->values[0], run->count);
        break;
    }
    int64_t last_ns = run->times[run->count - 1];
    if (last_ns > detector->until_ns) {
        detector->until_ns = last_ns;
    }
}

static void drain(struct detector *detector)
{
    struct axes_run run;
    while (axes_take(&detector->axes, &run)) {
        hand_on(detector, &run);
    }
}

void detector_push(struct detector *detector, const struct block *block)
{
    uint32_t from = 0;
    uint32_t taken;
    if (detector->kind == KIND_IGNORED || detector->finished) {
        return;
    }
    while ((taken = axes_push(&detector->axes, block, from)) > 0) {
        from += taken;
        drain(detector);
    }
    outbox_release(&detector->outbox, detector_horizon_ns(detector));
}

void detector_set_clock(struct detector *detector, int64_t time_ns, int64_t clock_sd_ns)
{
    outbox_set_clock(&detector->outbox, time_ns, clock_sd_ns);
}

void detector_end_quiet(struct detector *detector, int64_t time_ns)
{
    detector->spell.end_ns = time_ns;
}

void detector_advance(struct detector *detector, int64_t until_ns)
{
    if (detector->finished) {
        return;
    }
    if (detector->kind != KIND_IGNORED) {
        axes_expire(&detector->axes, until_ns);
        drain(detector);
    }
    if (detector->kind == KIND_FIELD) {
        field_advance(&detector->field, until_ns);
    } else if (detector->kind == KIND_HELD) {
        hold_advance(&detector->hold, &detector->field, until_ns);
    } else if (detector->kind == KIND_MOTION) {
        motion_advance(&detector->motion, until_ns);
    }
    if (until_ns > detector->until_ns) {
        detector->until_ns = until_ns;
    }
    outbox_release(&detector->outbox, detector_horizon_ns(detector));
}

void detector_finish(struct detector *detector)
{
    if (detector->finished) {
        return;
    }
    if (detector->kind != KIND_IGNORED) {
        drain(detector);
    }
    if (detector->kind == KIND_FIELD || detector->kind == KIND_HELD) {
        field_finish(&detector->field);
    } else if (detector->kind == KIND_MOTION) {
        motion_finish(&detector->motion);
    }
    detector->finished = true;
    outbox_release(&detector->outbox, INT64_MAX);
}

int64_t detector_horizon_ns(const struct detector *detector)
{
    if (detector->finished) {
        return INT64_MAX;
    }
    if (detector->kind == KIND_FIELD || detector->kind == KIND_HELD) {
        return field_horizon_ns(&detector->field, detector->until_ns);
    }
    if (detector->kind == KIND_MOTION) {
        return motion_horizon_ns(&detector->motion, detector->until_ns);
    }
    return detector->until_ns;
}

bool detector_learnt(const struct detector *detector)
{
    switch (detector->kind) {
    case KIND_FIELD:
    case KIND_HELD:
        return field_learnt(&detector->field);
    case KIND_MOTION:
        return detector->motion.learnt;
    case KIND_IGNORED:
        break;
    }
    return true;
}
