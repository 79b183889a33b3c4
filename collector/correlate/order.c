/* Probabilities of order by numerical integration.
 * Must never pass an absolute time through a double: all is relative to the first onset.
 * Called by judge. */
#include "collector/correlate/order.h"

#include <math.h>
#include <stdlib.h>

/* Beyond this many sigma a normal density is nothing to a double's sum. */
#define REACH 8.0
#define KNOTS 7
#define GAUSS 8

static double normal_above(double z)
{
    return 0.5 * erfc(z * 0.70710678118654752440);
}

static double normal_density(double z)
{
    return 0.39894228040143267794 * exp(-0.5 * z * z);
}

int64_t order_moment_ns(const struct disturbance *disturbance)
{
    return disturbance->onset_ns - llround(sqrt(3.0) * (double)disturbance->sampling_sd_ns);
}

static struct order_entry *find_node(struct order_entry *entries, size_t count, uint32_t node)
{
    for (size_t i = 0; i < count; i++) {
        if (entries[i].node == node) {
            return &entries[i];
        }
    }
    return NULL;
}

/* The shorter of two looks at the same beginning says more. */
static void take_surer(struct order_entry *entry, const struct order_entry *other)
{
    double joint = hypot((double)entry->onset_sd_ns, (double)other->onset_sd_ns);
    if (other->onset_sd_ns < entry->onset_sd_ns &&
        fabs((double)(other->onset_ns - entry->onset_ns)) <= 2.0 * joint) {
        *entry = *other;
    }
}

static int by_onset(const void *left, const void *right)
{
    const struct order_entry *a = left;
    const struct order_entry *b = right;
    if (a->onset_ns != b->onset_ns) {
        return a->onset_ns < b->onset_ns ? -1 : 1;
    }
    return (a->node > b->node) - (a->node < b->node);
}

size_t order_gather(const struct disturbance *const *members, size_t count,
                    struct order_entry *entries, size_t size)
{
    size_t taken = 0;
    for (size_t i = 0; i < count; i++) {
        const struct order_entry one = {.node = members[i]->node,
                                        .onset_ns = order_moment_ns(members[i]),
                                        .onset_sd_ns = disturbance_onset_sd_ns(members[i])};
        struct order_entry *known = find_node(entries, taken, one.node);
        if (known) {
            take_surer(known, &one);
        } else if (taken < size) {
            entries[taken++] = one;
        }
    }
    qsort(entries, taken, sizeof entries[0], by_onset);
    return taken;
}

double order_before(int64_t a_ns, int64_t sd_a_ns, int64_t b_ns, int64_t sd_b_ns)
{
    double joint = hypot((double)sd_a_ns, (double)sd_b_ns);
    double gap = (double)(b_ns - a_ns);
    if (joint <= 0.0) {
        return gap > 0.0 ? 1.0 : (gap < 0.0 ? 0.0 : 0.5);
    }
    return normal_above(-gap / joint);
}

/* The entries that can be first at all, in seconds after the first onset. */
struct field {
    size_t count;
    size_t index[COINCIDENCE_MEMBERS_MAX];
    double time[COINCIDENCE_MEMBERS_MAX];
    double sd[COINCIDENCE_MEMBERS_MAX];
    double sum[COINCIDENCE_MEMBERS_MAX];
    double low;
    double high;
    size_t knot_count;
    double knots[COINCIDENCE_MEMBERS_MAX * KNOTS];
};

static void field_gather(struct field *field, const struct order_entry *entries, size_t count)
{
    double times[COINCIDENCE_MEMBERS_MAX];
    double sds[COINCIDENCE_MEMBERS_MAX];
    field->high = INFINITY;
    for (size_t i = 0; i < count; i++) {
        times[i] = (double)(entries[i].onset_ns - entries[0].onset_ns) * 1e-9;
        sds[i] = fmax(1e-9, (double)entries[i].onset_sd_ns * 1e-9);
        field->high = fmin(field->high, times[i] + REACH * sds[i]);
    }
    field->count = 0;
    field->low = INFINITY;
    for (size_t i = 0; i < count; i++) {
        if (times[i] - REACH * sds[i] < field->high) {
            size_t at = field->count++;
            field->index[at] = i;
            field->time[at] = times[i];
            field->sd[at] = sds[i];
            field->sum[at] = 0.0;
            field->low = fmin(field->low, times[i] - REACH * sds[i]);
        }
    }
}

static void knot_insert(struct field *field, double knot)
{
    if (knot < field->low || knot > field->high) {
        return;
    }
    size_t at = field->knot_count++;
    while (at > 0 && field->knots[at - 1] > knot) {
        field->knots[at] = field->knots[at - 1];
        at--;
    }
    field->knots[at] = knot;
}

/* Pieces between knots are short against every curve that bends within them. */
static void field_place_knots(struct field *field)
{
    static const double places[KNOTS] = {-REACH, -4.0, -2.0, 0.0, 2.0, 4.0, REACH};
    field->knot_count = 0;
    for (size_t i = 0; i < field->count; i++) {
        for (size_t k = 0; k < KNOTS; k++) {
            knot_insert(field, field->time[i] + places[k] * field->sd[i]);
        }
    }
}

/* Adds weight * phi_i(t) * prod over j != i of (1 - Phi_j(t)) to each sum. */
static void field_add(struct field *field, double t, double weight)
{
    double above[COINCIDENCE_MEMBERS_MAX];
    double before[COINCIDENCE_MEMBERS_MAX];
    double product = 1.0;
    for (size_t i = 0; i < field->count; i++) {
        double z = (t - field->time[i]) / field->sd[i];
        above[i] = z < -REACH ? 1.0 : (z > REACH ? 0.0 : normal_above(z));
        before[i] = product;
        product *= above[i];
    }
    double after = 1.0;
    for (size_t i = field->count; i-- > 0;) {
        double z = (t - field->time[i]) / field->sd[i];
        if (fabs(z) < REACH) {
            field->sum[i] += weight * normal_density(z) / field->sd[i] * before[i] * after;
        }
        after *= above[i];
    }
}

void order_first(struct order_entry *entries, size_t count)
{
    /* Gauss-Legendre, eight points (Abramowitz & Stegun 1964, table 25.4). */
    static const double nodes[GAUSS / 2] = {0.1834346424956498, 0.5255324099163290,
                                            0.7966664774136267, 0.9602898564975363};
    static const double weights[GAUSS / 2] = {0.3626837833783620, 0.3137066458778873,
                                              0.2223810344533745, 0.1012285362903763};
    if (count == 0 || count > COINCIDENCE_MEMBERS_MAX) {
        return;
    }
    struct field field;
    field_gather(&field, entries, count);
    field_place_knots(&field);
    for (size_t k = 0; k + 1 < field.knot_count; k++) {
        double middle = 0.5 * (field.knots[k] + field.knots[k + 1]);
        double half = 0.5 * (field.knots[k + 1] - field.knots[k]);
        for (size_t g = 0; half > 0.0 && g < GAUSS / 2; g++) {
            field_add(&field, middle - half * nodes[g], half * weights[g]);
            field_add(&field, middle + half * nodes[g], half * weights[g]);
        }
    }
    for (size_t i = 0; i < count; i++) {
        entries[i].first_probability = 0.0;
    }
    for (size_t i = 0; i < field.count; i++) {
        entries[field.index[i]].first_probability = fmin(1.0, field.sum[i]);
    }
}

/* The upper tail of chi-square, Q(freedom / 2, x / 2), by its recurrence in steps of two degrees
 * (Abramowitz & Stegun 1964, 26.4.8 and 26.4.4, 26.4.5). */
static double chi_square_above(double x, size_t freedom)
{
    double half = 0.5 * x;
    double tail = freedom % 2 ? erfc(sqrt(half)) : exp(-half);
    double at = freedom % 2 ? 0.5 : 1.0;
    double term = freedom % 2 ? sqrt(half) * exp(-half) / (0.5 * sqrt(M_PI)) : half * exp(-half);
    /* NOLINTNEXTLINE(cert-flp30-c,*FloatLoopCounter): halves, which doubles count exactly. */
    for (; at < 0.5 * (double)freedom; at += 1.0) {
        tail += term;
        term *= half / (at + 1.0);
    }
    return tail;
}

bool order_together(const struct order_entry *entries, size_t count, double confidence)
{
    if (count < 2) {
        return false;
    }
    double weight_sum = 0.0;
    double mean = 0.0;
    double sum = 0.0;
    for (size_t i = 0; i < count; i++) {
        double time = (double)(entries[i].onset_ns - entries[0].onset_ns);
        double sd = fmax(1.0, (double)entries[i].onset_sd_ns);
        double weight = 1.0 / (sd * sd);
        double step = time - mean;
        weight_sum += weight;
        mean += step * weight / weight_sum;
        sum += weight * step * (time - mean);
    }
    return chi_square_above(sum, count - 1) >= 1.0 - confidence;
}
