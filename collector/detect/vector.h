/* One to three axes as one vector: lengths, and a middle that a few wild samples can't pull.
 * Must never prefer an axis: turning the node must not matter. Called by baseline and watch. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_VECTOR_H
#define ROOMWAKE_COLLECTOR_DETECT_VECTOR_H

#include <stddef.h>

#define VECTOR_AXES_MAX 3

double vector_length(const double *vector, size_t dims);

/* Geometric median (Weiszfeld) of n vectors, axes[a][i]; for one axis the median itself. `scratch`
 * holds n doubles. n >= 1. */
void vector_middle(const double *const axes[], size_t dims, size_t n, double *scratch,
                   double middle[VECTOR_AXES_MAX]);

/* For a vector of `dims` independent normal parts of sigma 1: the chance that its length exceeds z,
 * and the median length. */
double vector_exceedance(double z, size_t dims);
double vector_median_length(size_t dims);
/* ln of the density of the length at z > 0. */
double vector_log_density(double z, size_t dims);

#endif
