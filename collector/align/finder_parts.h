/* What the finder's files share: the low-passed stream, and the list of what was found.
 * Must never be included by anything else. */
#ifndef ROOMWAKE_COLLECTOR_ALIGN_FINDER_PARTS_H
#define ROOMWAKE_COLLECTOR_ALIGN_FINDER_PARTS_H

#include "collector/align/finder.h"

#include <stdbool.h>
#include <stdint.h>

struct finder_list {
    size_t count;
    struct finder_arrival arrivals[FINDER_KEPT + 1];
};
/* Keeps the strongest; one nearer than `apart_s` to one that is there replaces it if stronger. */
void finder_list_add(struct finder_list *list, const struct finder_arrival *arrival,
                     double apart_s);
void finder_list_sort(struct finder_list *list);

/* Low-pass and every `factor`-th sample: a windowed sinc, 4 kHz kept, linear phase. */
struct finder_lowpass {
    size_t factor;
    size_t taps;
    float *coefficients;
    float *held; /* the last `taps` samples, twice over so that a window is always contiguous */
    size_t at;
    size_t until_next;
    double delay_s;
};
int finder_lowpass_init(struct finder_lowpass *lowpass, double rate_hz, struct error *error);
void finder_lowpass_clear(struct finder_lowpass *lowpass);
/* Whether a sample came out, into *out. */
bool finder_lowpass_push(struct finder_lowpass *lowpass, float sample, float *out);

/* Matched filter by overlap-save. */
struct finder_matched;
int finder_matched_new(double rate_hz, double delay_s, struct finder_matched **matched,
                       struct error *error);
void finder_matched_free(struct finder_matched *matched);
void finder_matched_push(struct finder_matched *matched, float sample, struct finder_list *list);
void finder_matched_finish(struct finder_matched *matched, struct finder_list *list);

/* Claps. */
struct finder_clap {
    double rate_hz;
    double delay_s;
    int64_t at;
    double noise;  /* mean square over about a tenth of a second before */
    double energy; /* mean square over about 2 ms */
    int64_t refuse_until;
    int64_t rise_at; /* where the energy began to rise; -1: not rising */
    double rise_noise;
    double rise_peak;
};
void finder_clap_init(struct finder_clap *clap, double rate_hz, double delay_s);
void finder_clap_push(struct finder_clap *clap, float sample, struct finder_list *list);

#endif
