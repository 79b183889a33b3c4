/* From a node's clock to the site's: what the exchanges with the time server say, as a line with an
 * honest uncertainty. Must never read a clock: times in, line out.
 * Sign: offset_ns is site minus node; positive means that the node's clock is behind. */
#ifndef ROOMWAKE_COMMON_CLOCK_FIT_H
#define ROOMWAKE_COMMON_CLOCK_FIT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* site = node + offset_ns + (node - ref_node_ns) * rate_ppt / 1e12.
 * uncertainty_ns is one sigma at ref_node_ns; it grows by growth_ppb of the time since. */
struct clock_fit {
    bool known;
    bool utc; /* it leads to UTC, as the node's kernel keeps it, and not to the site's time */
    int64_t ref_node_ns;
    int64_t offset_ns;
    int64_t rate_ppt;
    int64_t uncertainty_ns;
    int64_t growth_ppb;
};

/* "In time": good enough to order a walker's steps through rooms. */
#define CLOCK_FIT_IN_TIME_NS INT64_C(20000000)

int64_t clock_fit_site_ns(const struct clock_fit *fit, int64_t node_ns);
/* Another uncertainty, one sigma, on top of the line's own: as squares. */
void clock_fit_widen(struct clock_fit *fit, int64_t sd_ns);
int64_t clock_fit_uncertainty_ns(const struct clock_fit *fit, int64_t node_ns);
/* From where `first` starts to where `then` leads; both known. Uncertainties add as squares. */
struct clock_fit clock_fit_chain(const struct clock_fit *first, const struct clock_fit *then);
/* Back from where a known fit leads to where it starts. */
struct clock_fit clock_fit_inverse(const struct clock_fit *fit);

/* One RFC 5905 exchange: t1, t4 on the node's clock, t2, t3 on the site's, all in ns. */
struct clock_exchange {
    int64_t t1_ns;
    int64_t t2_ns;
    int64_t t3_ns;
    int64_t t4_ns;
};

/* RFC 5905 sec. 8: theta = ((t2 - t1) + (t3 - t4)) / 2, delta = (t4 - t1) - (t3 - t2). */
int64_t clock_exchange_offset_ns(const struct clock_exchange *exchange);
int64_t clock_exchange_delay_ns(const struct clock_exchange *exchange);

/* Each exchange bounds the true offset to half its delay on either side. Two that contradict each
 * other by more than the crystal explains mean that the time server's clock was set anew. */
bool clock_exchange_contradicts(const struct clock_exchange *older,
                                const struct clock_exchange *newer, int64_t crystal_ppb);

#define CLOCK_FITTER_POINTS 64

/* Keeps the best of each burst over a sliding span: the question that took least and the answer
 * that took least, which need not be of one exchange. Caller-owned; fields are private. */
struct clock_fitter {
    struct clock_exchange best[CLOCK_FITTER_POINTS];
    size_t count;
    int64_t span_ns;
    int64_t default_growth_ppb;
};

/* span_ns: how far back exchanges count. growth_ppb: how far a crystal may be off before the rate
 * is known (100000 = 100 ppm). */
void clock_fitter_init(struct clock_fitter *fitter, int64_t span_ns, int64_t growth_ppb);
/* Takes the exchanges of one burst. Exchanges with a delay below zero or above 10 s are ignored.
 * Returns whether one was kept. */
bool clock_fitter_add_burst(struct clock_fitter *fitter, const struct clock_exchange *exchanges,
                            size_t count);
/* The best of the last bursts, `size` at most, oldest first; returns how many. */
size_t clock_fitter_recent(const struct clock_fitter *fitter, struct clock_exchange *exchanges,
                           size_t size);

/* What the 99 % bound is in the stated uncertainty: 2.58 sigma, as for a normal error. */
#define CLOCK_FIT_BOUND_PERCENT 258

/* The line as of node time now_node_ns; known = false before the first exchange. Its uncertainty is
 * made of the best round trip (half of it bounds what uneven ways may hide, taken as evenly
 * spread), the delays above it, the scatter of the stamps, the age, and the wander of a crystal in
 * a room whose temperature changes; its growth holds for an hour. In clock_line.c. */
void clock_fitter_line(const struct clock_fitter *fitter, int64_t now_node_ns,
                       struct clock_fit *fit);

#endif
