/* Runs of samples between gaps: through the mains windows into the history, then through the bands.
 * Must never see a sample twice or out of order. Called by detector.
 */
#include "collector/detect/field.h"

#include <math.h>
#include <string.h>

#include "collector/detect/field_take.h"
#include "collector/detect/notice.h"

#define QUANTISATION_SD 0.28867513459481287 /* 1 / sqrt(12) */
/* Lookback, settling and margins, and then some. */
#define HISTORY_S 1.6
#define HISTORY_SAMPLES_MIN 512.0
#define STEADY_CHI_SQUARED 36.0
/* So many sigma of the rest move the harmonics of the mains at most: no disturbance, much. */
#define HARMONICS_BOUND 5.0
/* This many steps that are gaps, of as many samples, and the rate is not what it was said to be. */
#define GAPS_ODD 50u
/* No load comes on as slowly as a supply's voltage wanders. */
#define MAINS_FOLLOW_S 6.0
/* The mains is within some hundredths of a hertz of its nominal frequency, so where it folds down
 * to nothing it turns once in half a minute or slower. */
#define EDGE_FOLLOW_S 1.2

static bool wants_mains(const struct field_settings *settings)
{
    return settings->quantity == QUANTITY_MAGNETIC || settings->quantity == QUANTITY_ELECTRIC ||
           settings->quantity == QUANTITY_VIBRATION;
}

static int init_bands(struct field *field)
{
    const struct field_settings *settings = &field->settings;
    field->band_count = field->has_mains ? 2 : 1;
    for (size_t b = 0; b < field->band_count; b++) {
        struct watch_settings watch = {
            .name = b == 0 ? BAND_REST : BAND_MAINS,
            .history = &field->history,
            .outbox = settings->outbox,
            .pace = field->pace,
            .baseline_s = settings->baseline_s,
            .spell = settings->spell,
            .onsets_per_hour = settings->onsets_per_hour / (double)field->band_count,
            .mains_hz = settings->mains_hz,
            /* Mains that can't be told apart beats: weak and long like what the bank looks for. */
            .bank = b == 0 && field->edge.kind == EDGE_NONE,
            .reference = field->reference,
            .scale_floor = &field->scale_floor[b],
            .template = settings->template,
        };
        if (b == 1) {
            pace_follow_closely(&watch.pace, MAINS_FOLLOW_S);
        } else if (field->edge.kind == EDGE_SLOW) {
            pace_follow_closely(&watch.pace, EDGE_FOLLOW_S);
        }
        if (watch_init(&field->watches[b], &watch) != 0) {
            return -1;
        }
    }
    return 0;
}

/* What a cheap part of this kind does by itself, however still it was in a short quiet spell: a
 * change of its last digits is no finding (common practice, no source). */
static double part_floor(enum quantity quantity)
{
    switch (quantity) {
    case QUANTITY_TEMPERATURE:
        return 0.03;
    case QUANTITY_HUMIDITY:
    case QUANTITY_SOUND:
        return 0.3;
    case QUANTITY_PRESSURE:
        return 1.0;
    default:
        return 0.0;
    }
}

static void set_scale_floors(struct field *field)
{
    double quantum = field->quantum > 0.0 ? field->quantum : field->settings.step;
    field->scale_floor[BAND_REST] =
        fmax(QUANTISATION_SD * quantum, part_floor(field->settings.quantity));
    if (field->has_mains) {
        field->scale_floor[BAND_MAINS] =
            QUANTISATION_SD * quantum * sqrt(2.0 / (double)field->mains.window);
    }
}

int field_init(struct field *field, const struct field_settings *settings, struct error *error)
{
    memset(field, 0, sizeof *field);
    double rate_hz = 1e12 / (double)settings->period_ps;
    if (rate_hz > FIELD_RATE_MAX_HZ) {
        return error_set(error, ERROR_RANGE, "detector: %s: %g samples a second, at most %g",
                         settings->template.quantity_text, rate_hz, FIELD_RATE_MAX_HZ);
    }
    field->settings = *settings;
    pace_for(settings->period_ps, settings->baseline_s, &field->pace);
    field->gap_ns = settings->period_ps / 1000 * 3 / 2;
    field->last_ns = INT64_MIN;
    field->done_ns = INT64_MIN;
    field->has_mains =
        wants_mains(settings) && !field->pace.slow && mains_measurable(settings->mains_hz, rate_hz);
    if (wants_mains(settings) && !field->pace.slow && !field->has_mains) {
        edge_init(&field->edge, settings->mains_hz, rate_hz);
    }
    double samples = fmax(HISTORY_S * rate_hz + 2.0 * FIELD_BATCH, HISTORY_SAMPLES_MIN);
    samples = fmax(samples, field->pace.start_samples + 2.0 * FIELD_BATCH);
    bool complete =
        history_init(&field->history, settings->axes, (size_t)samples, field->has_mains) == 0;
    if (complete && field->has_mains) {
        unsigned harmonic =
            settings->quantity == QUANTITY_VIBRATION ? HARMONIC_OF_VIBRATION : HARMONIC_OF_FIELDS;
        complete = mains_init(&field->mains, settings->mains_hz, settings->period_ps,
                              settings->axes, harmonic) == 0;
    }
    if (!complete || init_bands(field) != 0) {
        field_free(field);
        return error_set(error, ERROR_MEMORY, "detector: %s", settings->template.quantity_text);
    }
    field->batch_end = FIELD_BATCH;
    set_scale_floors(field);
    field->centre.loud_squared = INFINITY;
    return 0;
}

void field_free(struct field *field)
{
    for (size_t b = 0; b < 2; b++) {
        watch_free(&field->watches[b]);
    }
    mains_free(&field->mains);
    history_free(&field->history);
}

/* At a batch's end: what the rest band holds for usual, and how fine the samples are. */
static void look_at_centre(struct field *field)
{
    set_scale_floors(field);
    const struct watch *rest = &field->watches[0];
    memcpy(field->centre.location, rest->baseline.location, sizeof field->centre.location);
    /* Two windows' noise apart: chi-squared of two to six parts, each of variance 4 sigma^2 / N. */
    if (field->has_mains) {
        field->centre.steady_squared = STEADY_CHI_SQUARED * 4.0 * rest->baseline.scale *
                                       rest->baseline.scale / (double)field->mains.window;
    }
    field->centre.bound = HARMONICS_BOUND * rest->baseline.scale;
    double loud = rest->trigger.low * rest->baseline.scale;
    field->centre.loud_squared = rest->learnt ? loud * loud : INFINITY;
}

static struct notice_band learnt_by(const struct watch *watch)
{
    return (struct notice_band){.name = watch->settings.name,
                                .unit = watch->settings.template.unit,
                                .calibrated = watch->settings.template.calibrated,
                                .scale = watch->learnt_scale,
                                .tail = &watch->tail};
}

static void tell_notices(struct field *field)
{
    char text[NOTICE_SIZE];
    if (!field->learnt_told && field_learnt(field)) {
        struct notice_band bands[2];
        for (size_t b = 0; b < field->band_count; b++) {
            bands[b] = learnt_by(&field->watches[b]);
        }
        enum quantity quantity = field->settings.quantity;
        bool mains_lost =
            !field->has_mains && (quantity == QUANTITY_MAGNETIC || quantity == QUANTITY_ELECTRIC);
        field->learnt_told = true;
        double longer_s = fmax(field->watches[0].longer_s, field->watches[1].longer_s);
        notice_learnt(bands, field->band_count, mains_lost, field->settings.onsets_per_hour,
                      longer_s, text);
        outbox_notice(field->settings.outbox, field->watches[0].learnt_ns, text);
    }
    for (size_t b = 0; b < field->band_count; b++) {
        struct watch *watch = &field->watches[b];
        if (watch->noise_rose) {
            struct notice_band band = learnt_by(watch);
            watch->noise_rose = false;
            notice_noise_rose(&band, text);
            outbox_notice(field->settings.outbox, watch->learnt_ns, text);
        }
    }
}

/* Runs the bands over what is new in the history. */
static void run_bands(struct field *field)
{
    uint64_t end = field->history.end;
    if (field->run_end == end) {
        return;
    }
    for (size_t b = 0; b < field->band_count; b++) {
        watch_run(&field->watches[b], field->run_end, end);
    }
    field->run_end = end;
    field->done_ns = field->history.times[(end - 1) & field->history.mask];
    tell_notices(field);
    if (end == field->batch_end) {
        look_at_centre(field);
        field->batch_end += FIELD_BATCH;
    }
}

/* Each sample leaves the mains windows as soon as it can, so that what is known of the mains by
 * then does not depend on how many samples came at once. */
static void drain_mains(struct field *field, bool flush)
{
    for (uint64_t ready = mains_ready(&field->mains, flush); ready > 0; ready--) {
        mains_take(&field->mains, &field->centre, &field->history);
        if (field->history.end == field->batch_end) {
            run_bands(field);
        }
    }
}

static void start(struct field *field, int64_t time_ns, const double *const values[], size_t i)
{
    field->started = true;
    field->learn_until_ns = time_ns + (int64_t)(field->settings.baseline_s * 1e9);
    for (size_t a = 0; a < field->settings.axes; a++) {
        field->reference[a] = values[a][i];
        rail_start(&field->rails[a], values[a][i]);
    }
}

static void feed_mains(struct field *field, const int64_t *times, const double *const values[],
                       size_t from, size_t n, const uint8_t clipped[])
{
    double x[VECTOR_AXES_MAX] = {0.0};
    for (size_t i = 0; i < n; i++) {
        for (size_t a = 0; a < field->settings.axes; a++) {
            x[a] = values[a][from + i] - field->reference[a];
        }
        mains_feed(&field->mains, times[from + i], x, clipped[i]);
        drain_mains(field, false);
    }
}

/* Samples without a gap, at most up to the batch's end. */
static void push_chunk(struct field *field, const int64_t *times, const double *const values[],
                       size_t from, size_t n)
{
    uint8_t clipped[FIELD_BATCH];
    field_check_rails(field, times, values, from, n, clipped);
    if (field->has_mains) {
        feed_mains(field, times, values, from, n, clipped);
    } else {
        field_keep_rest(field, times, values, from, n, clipped);
    }
    field->samples += n;
    field->last_ns = times[from + n - 1];
    field->run_ns = field->running ? field->run_ns : times[from];
    field->running = true;
    run_bands(field);
}

/* The run is over: what the mains windows still hold comes out, and what is open is closed. */
static void end_run(struct field *field)
{
    if (!field->running) {
        return;
    }
    field->running = false;
    if (field->has_mains) {
        /* These have the mains taken off by one side alone: a little more noise, no energy of note.
         */
        watch_run_out(&field->watches[0]);
        drain_mains(field, true);
        run_bands(field);
        mains_restart(&field->mains);
    } else {
        edge_restart(&field->edge);
    }
    field->done_ns = field->last_ns;
    for (size_t b = 0; b < field->band_count; b++) {
        watch_cut(&field->watches[b], field->last_ns + field->gap_ns);
    }
}

static void cross_gap(struct field *field, int64_t time_ns)
{
    end_run(field);
    field->gaps++;
    for (size_t b = 0; b < field->band_count; b++) {
        watch_resume(&field->watches[b], time_ns - field->last_ns);
    }
    if (!field->gaps_told && field->gaps >= GAPS_ODD && 2 * field->gaps > field->samples) {
        char text[NOTICE_SIZE];
        field->gaps_told = true;
        notice_odd_rate(1e12 / (double)field->settings.period_ps, text);
        outbox_notice(field->settings.outbox, time_ns, text);
    }
}

/* How many samples from `from` on follow each other without a gap, at most up to the batch's end.
 */
static size_t count_run(const struct field *field, const int64_t *times, size_t from, size_t n)
{
    size_t most = (size_t)(field->batch_end - field->history.end);
    size_t i = from + 1;
    while (i < n && i - from < most && times[i] > times[i - 1] &&
           times[i] - times[i - 1] <= field->gap_ns) {
        i++;
    }
    return i - from;
}

void field_push(struct field *field, const int64_t *times, const double *const values[], size_t n)
{
    size_t i = 0;
    while (i < n) {
        if (!field->started) {
            start(field, times[i], values, i);
        } else if (times[i] <= field->last_ns || times[i] - field->last_ns > field->gap_ns) {
            cross_gap(field, times[i]);
        }
        size_t count = count_run(field, times, i, n);
        push_chunk(field, times, values, i, count);
        i += count;
    }
}

void field_advance(struct field *field, int64_t until_ns)
{
    if (field->running && until_ns - field->last_ns > field->gap_ns) {
        end_run(field);
    }
}

void field_finish(struct field *field)
{
    end_run(field);
}

int64_t field_horizon_ns(const struct field *field, int64_t until_ns)
{
    if (!field->running) {
        /* Nothing is open: the next onset is a sample that is still to come. */
        return until_ns;
    }
    int64_t horizon_ns = INT64_MAX;
    int64_t now_ns = field->done_ns > field->run_ns ? field->done_ns : field->run_ns;
    for (size_t b = 0; b < field->band_count; b++) {
        int64_t watch_ns = watch_horizon_ns(&field->watches[b], now_ns);
        horizon_ns = watch_ns < horizon_ns ? watch_ns : horizon_ns;
    }
    /* Nor is one picked across a gap. */
    return horizon_ns > field->run_ns ? horizon_ns : field->run_ns;
}

bool field_learnt(const struct field *field)
{
    for (size_t b = 0; b < field->band_count; b++) {
        if (!field->watches[b].learnt) {
            return false;
        }
    }
    return true;
}
