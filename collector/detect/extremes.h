/* The largest of each block of samples, for as many blocks as are kept: what a tail is fitted to.
 * Must never grow. Kept by baseline and bank, read when a threshold is chosen. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_EXTREMES_H
#define ROOMWAKE_COLLECTOR_DETECT_EXTREMES_H

#include <stddef.h>

#define EXTREMES_MAX 1024u

/* Caller-owned; {0}. */
struct extremes {
    double maxima[EXTREMES_MAX]; /* a ring */
    size_t blocks;               /* ever */
};

/* INFINITY: a disturbance was in the block. */
void extremes_add(struct extremes *extremes, double maximum);
/* All kept ones over `unit`. */
void extremes_divide(struct extremes *extremes, double unit);
size_t extremes_kept(const struct extremes *extremes);
/* The largest of each `merged` blocks in a row, oldest first, to `out` (EXTREMES_MAX); returns how
 * many. Where blocks are merged, those with disturbances are left out. */
size_t extremes_merge(const struct extremes *extremes, size_t merged, double *out);

#endif
