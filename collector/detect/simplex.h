/* The lowest point of a function of three numbers, by Nelder and Mead's simplex.
 * Must never allocate or run without end. Called by tail. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_SIMPLEX_H
#define ROOMWAKE_COLLECTOR_DETECT_SIMPLEX_H

#define SIMPLEX_DIMS 3

/* Starts at `point` with corners `steps` away, ends when the corners' costs are within `tolerance`,
 * and leaves the best point found there. */
void simplex_minimise(double (*cost)(const void *context, const double point[SIMPLEX_DIMS]),
                      const void *context, double point[SIMPLEX_DIMS],
                      const double steps[SIMPLEX_DIMS], double tolerance);

#endif
