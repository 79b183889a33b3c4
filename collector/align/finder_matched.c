/* The matched filter: overlapping transforms against the sweep, the magnitude's peaks.
 * Must never count an echo as the arrival where the direct sound can be told. Called by finder.c.
 */
#include "collector/align/finder_parts.h"

#include <complex.h>
#include <fftw3.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/align/chirp.h"

#define TRANSFORM 32768u
/* The magnitude of filtered noise is Rayleigh: it exceeds 7 times its mean once in 10^16 samples.
 */
#define LEAST_STRENGTH 7.0
#define APART_S 0.3
#define ECHO_LOOK_S 0.03
#define FIRST_SHARE 0.5
/* Root mean square bandwidth of a flat band: its width / sqrt(12). */
#define RMS_BAND_HZ ((CHIRP_TO_HZ - CHIRP_FROM_HZ) / 3.4641016151377544)
/* An echo within the peak's own width (1 / bandwidth, 0.33 ms) moves its top by up to about half of
 * it, evenly spread: no filter tells them apart. */
#define ECHO_SD_S 1e-4
#define PI 3.14159265358979323846

struct finder_matched {
    double rate_hz;
    double delay_s;
    size_t kernel;
    fftwf_complex *kernel_spectrum; /* conjugate, analytic */
    fftwf_complex *time;
    fftwf_complex *spectrum;
    fftwf_plan forward;
    fftwf_plan backward;
    float *magnitude;
    size_t filled;
    int64_t first; /* thinned sample that time[0] is */
};

static void make_kernel(struct finder_matched *m)
{
    memset(m->time, 0, TRANSFORM * sizeof *m->time);
    double power = 0.0;
    for (size_t i = 0; i < m->kernel; i++) {
        double complex value = chirp_at((double)i / m->rate_hz);
        power += creal(value * conj(value));
        m->time[i] = (fftwf_complex)value;
    }
    fftwf_execute_dft(m->forward, m->time, m->kernel_spectrum);
    for (size_t i = 0; i < TRANSFORM; i++) {
        m->kernel_spectrum[i] = conjf(m->kernel_spectrum[i]) / (float)(sqrt(power) * TRANSFORM);
    }
    memset(m->time, 0, TRANSFORM * sizeof *m->time);
}

int finder_matched_new(double rate_hz, double delay_s, struct finder_matched **out,
                       struct error *error)
{
    struct finder_matched *m = calloc(1, sizeof *m);
    if (!m) {
        return error_set(error, ERROR_MEMORY, "align: out of memory");
    }
    m->rate_hz = rate_hz;
    m->delay_s = delay_s;
    m->kernel = chirp_samples(rate_hz);
    m->kernel_spectrum = fftwf_alloc_complex(TRANSFORM);
    m->time = fftwf_alloc_complex(TRANSFORM);
    m->spectrum = fftwf_alloc_complex(TRANSFORM);
    m->magnitude = calloc(TRANSFORM, sizeof *m->magnitude);
    if (m->kernel_spectrum && m->time && m->spectrum && m->magnitude) {
        m->forward =
            fftwf_plan_dft_1d((int)TRANSFORM, m->time, m->spectrum, FFTW_FORWARD, FFTW_ESTIMATE);
        m->backward = fftwf_plan_dft_1d((int)TRANSFORM, m->spectrum, m->spectrum, FFTW_BACKWARD,
                                        FFTW_ESTIMATE);
    }
    if (!m->forward || !m->backward || m->kernel >= TRANSFORM / 2) {
        finder_matched_free(m);
        return error_set(error, ERROR_MEMORY, "align: out of memory");
    }
    make_kernel(m);
    *out = m;
    return 0;
}

void finder_matched_free(struct finder_matched *m)
{
    if (m) {
        fftwf_destroy_plan(m->forward);
        fftwf_destroy_plan(m->backward);
        fftwf_free(m->kernel_spectrum);
        fftwf_free(m->time);
        fftwf_free(m->spectrum);
        free(m->magnitude);
        free(m);
    }
}

/* The first peak of at least half the strength in the stretch before the strongest. */
static size_t first_arrival(const struct finder_matched *m, size_t peak, size_t least)
{
    size_t look = (size_t)(ECHO_LOOK_S * m->rate_hz);
    size_t from = peak > least + look ? peak - look : least + 1;
    for (size_t i = from; i < peak; i++) {
        if (m->magnitude[i] >= FIRST_SHARE * m->magnitude[peak] &&
            m->magnitude[i] >= m->magnitude[i - 1] && m->magnitude[i] > m->magnitude[i + 1]) {
            return i;
        }
    }
    return peak;
}

static void note(const struct finder_matched *m, size_t peak, size_t usable, double mean,
                 struct finder_list *list)
{
    size_t i = first_arrival(m, peak, 0);
    double between = 0.0;
    if (i > 0 && i + 1 < usable) { /* the top of the parabola through three points */
        double a = (double)m->magnitude[i - 1];
        double b = (double)m->magnitude[i];
        double c = (double)m->magnitude[i + 1];
        double bend = a - 2.0 * b + c;
        between = bend < 0.0 ? 0.5 * (a - c) / bend : 0.0;
    }
    double strength = (double)m->magnitude[i] / mean;
    /* A delay's bound at this strength (Rayleigh mean = sqrt(pi/4) of the noise's amplitude). */
    double sd_s = sqrt(4.0 / PI) / (2.0 * PI * RMS_BAND_HZ * strength * sqrt(2.0));
    struct finder_arrival arrival = {
        .time_s = ((double)(m->first + (int64_t)i) + between) / m->rate_hz - m->delay_s,
        .sd_s = hypot(sd_s, ECHO_SD_S),
        .strength = strength};
    finder_list_add(list, &arrival, APART_S);
}

static void filter(struct finder_matched *m, struct finder_list *list)
{
    const size_t usable = TRANSFORM - m->kernel;
    fftwf_execute_dft(m->forward, m->time, m->spectrum);
    for (size_t i = 0; i < TRANSFORM; i++) {
        m->spectrum[i] *= m->kernel_spectrum[i];
    }
    fftwf_execute(m->backward);
    double sum = 0.0;
    for (size_t i = 0; i < usable; i++) {
        m->magnitude[i] = cabsf(m->spectrum[i]);
        sum += (double)m->magnitude[i];
    }
    double mean = sum / (double)usable;
    size_t apart = (size_t)(APART_S * m->rate_hz);
    for (size_t i = 0; mean > 0.0 && i < usable; i++) {
        if ((double)m->magnitude[i] < LEAST_STRENGTH * mean) {
            continue;
        }
        size_t peak = i;
        size_t until = i + apart < usable ? i + apart : usable;
        for (size_t j = i; j < until; j++) {
            peak = m->magnitude[j] > m->magnitude[peak] ? j : peak;
        }
        note(m, peak, usable, mean, list);
        i = until;
    }
}

void finder_matched_push(struct finder_matched *m, float sample, struct finder_list *list)
{
    m->time[m->filled++] = sample;
    if (m->filled < TRANSFORM) {
        return;
    }
    filter(m, list);
    size_t keep = m->kernel;
    memmove(m->time, m->time + TRANSFORM - keep, keep * sizeof *m->time);
    m->filled = keep;
    m->first += (int64_t)(TRANSFORM - keep);
}

void finder_matched_finish(struct finder_matched *m, struct finder_list *list)
{
    memset(m->time + m->filled, 0, (TRANSFORM - m->filled) * sizeof *m->time);
    filter(m, list);
}
