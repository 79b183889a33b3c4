/* Nelder and Mead's downhill simplex in three dimensions, with their usual coefficients.
 * Must never allocate or run without end. Called by tail.
 */
#include "collector/detect/simplex.h"

#include <math.h>
#include <string.h>

#define CORNERS (SIMPLEX_DIMS + 1)
#define STEPS_MAX 400

struct simplex {
    double (*cost)(const void *context, const double point[SIMPLEX_DIMS]);
    const void *context;
    double corner[CORNERS][SIMPLEX_DIMS];
    double value[CORNERS];
};

static void sort_corners(struct simplex *s)
{
    for (int i = 1; i < CORNERS; i++) {
        for (int j = i; j > 0 && s->value[j] < s->value[j - 1]; j--) {
            double value = s->value[j];
            s->value[j] = s->value[j - 1];
            s->value[j - 1] = value;
            double swap[SIMPLEX_DIMS];
            memcpy(swap, s->corner[j], sizeof swap);
            memcpy(s->corner[j], s->corner[j - 1], sizeof swap);
            memcpy(s->corner[j - 1], swap, sizeof swap);
        }
    }
}

/* The point `along` times from the middle of the better corners towards the worst. */
static double try_point(const struct simplex *s, double along, double point[SIMPLEX_DIMS])
{
    for (int d = 0; d < SIMPLEX_DIMS; d++) {
        double middle = 0.0;
        for (int i = 0; i < SIMPLEX_DIMS; i++) {
            middle += s->corner[i][d] / SIMPLEX_DIMS;
        }
        point[d] = middle + along * (s->corner[SIMPLEX_DIMS][d] - middle);
    }
    return s->cost(s->context, point);
}

static void replace_worst(struct simplex *s, const double point[SIMPLEX_DIMS], double value)
{
    memcpy(s->corner[SIMPLEX_DIMS], point, sizeof s->corner[0]);
    s->value[SIMPLEX_DIMS] = value;
}

static void shrink(struct simplex *s)
{
    for (int i = 1; i < CORNERS; i++) {
        for (int d = 0; d < SIMPLEX_DIMS; d++) {
            s->corner[i][d] = 0.5 * (s->corner[i][d] + s->corner[0][d]);
        }
        s->value[i] = s->cost(s->context, s->corner[i]);
    }
}

static void step_simplex(struct simplex *s)
{
    double reflected[SIMPLEX_DIMS];
    double other[SIMPLEX_DIMS];
    double worst = s->value[SIMPLEX_DIMS];
    double value = try_point(s, -1.0, reflected);
    if (value < s->value[0]) {
        double further = try_point(s, -2.0, other);
        replace_worst(s, further < value ? other : reflected, fmin(further, value));
    } else if (value < s->value[SIMPLEX_DIMS - 1]) {
        replace_worst(s, reflected, value);
    } else {
        double inner = try_point(s, value < worst ? -0.5 : 0.5, other);
        if (inner < fmin(value, worst)) {
            replace_worst(s, other, inner);
        } else {
            shrink(s);
        }
    }
}

void simplex_minimise(double (*cost)(const void *context, const double point[SIMPLEX_DIMS]),
                      const void *context, double point[SIMPLEX_DIMS],
                      const double steps[SIMPLEX_DIMS], double tolerance)
{
    struct simplex s = {.cost = cost, .context = context};
    for (int i = 0; i < CORNERS; i++) {
        memcpy(s.corner[i], point, sizeof s.corner[i]);
        if (i > 0) {
            s.corner[i][i - 1] += steps[i - 1];
        }
        s.value[i] = cost(context, s.corner[i]);
    }
    sort_corners(&s);
    for (int step = 0; step < STEPS_MAX; step++) {
        if (s.value[SIMPLEX_DIMS] - s.value[0] < tolerance) {
            break;
        }
        step_simplex(&s);
        sort_corners(&s);
    }
    memcpy(point, s.corner[0], sizeof s.corner[0]);
}
