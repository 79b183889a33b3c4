/* Tries every line through two anchors and two arrivals, keeps the one that most anchors lie on,
 * and fits it. Must never prefer a good fit of few over a fit of many, nor choose between two that
 * fit alike. Called by record/align. */
#include "collector/align/match.h"

#include <math.h>
#include <string.h>

#define NS_PER_S 1e9
/* An arrival is an anchor's when they differ by less: rooms and reactions aside, 5 ms and 4 sigma.
 */
#define TOLERANCE_S 0.005
#define SIGMAS 4.0
#define GUESS_HOLDS_S 86400.0
/* Of several places that fit alike the one is taken that a guess is so near to. */
#define GUESS_NEAR_S 300.0
#define PLACES_MOST 16
#define DRIFT_EXTRA_S 1.0
/* What is known of a recorder's clock before: it counts where the sounds are close together. A
 * third of the widest class's limit. */
#define DRIFT_SD (MATCH_DRIFT_MOST_PPM * 1e-6 / 3.0)

struct line {
    double at_s;     /* own time */
    double offset_s; /* site - own there, relative to the reference */
    double slope;    /* of site - own, in s a s */
};

/* A line, and which arrival it gives each anchor: its place in the list + 1, 0 for none. */
struct place {
    struct line line;
    size_t count;
    double sum;
    uint16_t arrival_of[MATCH_ANCHORS_MAX];
};

struct search {
    const struct match_anchor *anchors;
    size_t anchor_count;
    const struct finder *finder;
    double length_s;
    int64_t reference_ns;
    size_t place_count;
    struct place places[PLACES_MOST]; /* no two have an arrival of an anchor in common */
    struct line line;                 /* the one that was chosen */
};

static double site_s(const struct search *search, size_t i)
{
    return (double)(search->anchors[i].site_ns - search->reference_ns) / NS_PER_S;
}

static double line_offset(const struct line *line, double own_s)
{
    return line->offset_s + line->slope * (own_s - line->at_s);
}

/* The arrival of the anchor's kind nearest to where the line puts it, or NULL. */
static const struct finder_arrival *nearest(const struct search *search, const struct line *line,
                                            size_t anchor, double *left_s)
{
    size_t count = 0;
    const struct finder_arrival *arrivals =
        finder_arrivals(search->finder, search->anchors[anchor].kind, &count);
    double site = site_s(search, anchor);
    double own = line->at_s + (site - line->offset_s - line->at_s) / (1.0 + line->slope);
    size_t low = 0;
    size_t high = count;
    while (low < high) {
        size_t middle = (low + high) / 2;
        if (arrivals[middle].time_s < own) {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    const struct finder_arrival *found = NULL;
    double best = TOLERANCE_S + SIGMAS * search->anchors[anchor].sd_s;
    for (size_t i = low > 0 ? low - 1 : 0; i < count && i <= low; i++) {
        double left = site - arrivals[i].time_s - line_offset(line, arrivals[i].time_s);
        if (fabs(left) < best) {
            best = fabs(left);
            *left_s = left;
            found = &arrivals[i];
        }
    }
    return found;
}

static bool better(const struct place *a, const struct place *b)
{
    return a->count > b->count || (a->count == b->count && a->sum < b->sum);
}

static bool share(const struct place *a, const struct place *b, size_t anchors)
{
    for (size_t i = 0; i < anchors; i++) {
        if (a->arrival_of[i] != 0 && a->arrival_of[i] == b->arrival_of[i]) {
            return true;
        }
    }
    return false;
}

/* Lines that share an arrival of an anchor are one place, told by the best of them. */
static void keep(struct search *search, const struct place *place)
{
    size_t kept = 0;
    for (size_t i = 0; i < search->place_count; i++) {
        if (share(&search->places[i], place, search->anchor_count)) {
            if (!better(place, &search->places[i])) {
                return;
            }
            continue;
        }
        search->places[kept++] = search->places[i];
    }
    search->place_count = kept;
    if (kept < PLACES_MOST) {
        search->places[search->place_count++] = *place;
        return;
    }
    size_t worst = 0;
    for (size_t i = 1; i < kept; i++) {
        worst = better(&search->places[worst], &search->places[i]) ? i : worst;
    }
    if (better(place, &search->places[worst])) {
        search->places[worst] = *place;
    }
}

static void judge(struct search *search, const struct line *line)
{
    struct place place = {.line = *line};
    for (size_t i = 0; i < search->anchor_count; i++) {
        double left = 0.0;
        size_t count = 0;
        const struct finder_arrival *arrival = nearest(search, line, i, &left);
        if (arrival) {
            place.arrival_of[i] =
                (uint16_t)(arrival -
                           finder_arrivals(search->finder, search->anchors[i].kind, &count) + 1);
            place.count++;
            place.sum += left * left;
        }
    }
    if (place.count >= 2) {
        keep(search, &place);
    }
}

/* All lines through two anchors and one arrival of each. */
static void try_pair(struct search *search, size_t a, size_t b)
{
    size_t count_a = 0;
    size_t count_b = 0;
    const struct finder_arrival *of_a =
        finder_arrivals(search->finder, search->anchors[a].kind, &count_a);
    const struct finder_arrival *of_b =
        finder_arrivals(search->finder, search->anchors[b].kind, &count_b);
    double apart = site_s(search, b) - site_s(search, a);
    double loose = TOLERANCE_S + search->anchors[a].sd_s + search->anchors[b].sd_s;
    for (size_t i = 0; i < count_a; i++) {
        for (size_t j = 0; j < count_b; j++) {
            double own = of_b[j].time_s - of_a[i].time_s;
            if (own <= 0.0 ||
                fabs(apart - own) > MATCH_DRIFT_MOST_PPM * 1e-6 * own + SIGMAS * loose) {
                continue;
            }
            double slope = (apart - own) / own;
            double most = MATCH_DRIFT_MOST_PPM * 1e-6;
            struct line line = {of_a[i].time_s, site_s(search, a) - of_a[i].time_s,
                                fmax(-most, fmin(most, slope))};
            judge(search, &line);
        }
    }
}

struct sums {
    double w, x, y, xx, xy, yy;
    double stated; /* of 1 / the anchors' stated variances */
    size_t count;
};

/* Weighted least squares of site - own over own, about the search's line. */
static struct sums add_up(const struct search *search, struct match *match)
{
    struct sums s = {0};
    match->first_s = INFINITY;
    match->last_s = -INFINITY;
    for (size_t i = 0; i < search->anchor_count; i++) {
        double left = 0.0;
        const struct finder_arrival *arrival = nearest(search, &search->line, i, &left);
        match->arrival_of[i] = arrival != NULL;
        if (!arrival) {
            continue;
        }
        double sd = hypot(search->anchors[i].sd_s, arrival->sd_s);
        double w = 1.0 / (sd * sd);
        double x = arrival->time_s;
        match->first_s = fmin(match->first_s, x);
        match->last_s = fmax(match->last_s, x);
        s.w += w;
        s.stated += 1.0 / (search->anchors[i].sd_s * search->anchors[i].sd_s);
        s.x += w * x;
        s.y += w * left;
        s.xx += w * x * x;
        s.xy += w * x * left;
        s.yy += w * left * left;
        s.count++;
    }
    return s;
}

/* 1 for many degrees of freedom; what a fit of few must be widened by so that one sigma stays one
 * (Student's t, 68.27 % two-sided, degrees 1 to 8). */
static double student(size_t freedom)
{
    static const double of[] = {1.0, 1.837, 1.321, 1.197, 1.142, 1.111, 1.091, 1.077, 1.067};
    return freedom < sizeof of / sizeof *of ? of[freedom] : 1.0 + 0.55 / (double)freedom;
}

/* The variance that chance alone exceeds once in twenty, over its mean (chi-square by Wilson and
 * Hilferty 1931, Proc. Natl. Acad. Sci. 17:684). */
static double usual_most(size_t freedom)
{
    double part = 2.0 / (9.0 * (double)freedom);
    return pow(1.0 - part + 1.645 * sqrt(part), 3.0);
}

/* What is left over tells more than what was stated, where it is more than chance makes of that. */
static double how_much_wider(double chi, size_t freedom)
{
    double left = freedom > 0 ? chi / (double)freedom : 0.0;
    return freedom > 0 && left > usual_most(freedom) ? student(freedom) * sqrt(left) : 1.0;
}

static void fit(const struct search *search, struct match *match)
{
    struct sums s = add_up(search, match);
    double middle = s.x / s.w;
    double sxx = s.xx - s.x * middle;
    double known = 1.0 / (DRIFT_SD * DRIFT_SD);
    double slope = (s.xy - middle * s.y - known * search->line.slope) / (sxx + known);
    double offset = s.y / s.w;
    double chi =
        fmax(0.0, s.yy - offset * s.y - slope * (2.0 * (s.xy - middle * s.y) - slope * sxx));
    size_t freedom = s.count - 2;
    double wider = how_much_wider(chi, freedom);
    double common_sd_s = sqrt((double)s.count / s.stated);
    double total_slope = search->line.slope + slope;
    double start = line_offset(&search->line, 0.0) + offset - slope * middle;
    match->start_ns = search->reference_ns + llround(start * NS_PER_S);
    match->drift_ppm = total_slope * 1e6;
    match->middle_s = middle;
    match->middle_sd_s = hypot(wider / sqrt(s.w), common_sd_s);
    match->drift_sd_ppm = fmin(wider / sqrt(sxx + known), DRIFT_SD) * 1e6;
    match->start_sd_s = hypot(match->middle_sd_s, match->drift_sd_ppm * 1e-6 * middle);
    match->residual_s = freedom > 0 ? sqrt(chi / s.w) : 0.0;
    match->used = s.count;
}

/* Anchors that the line puts into the recording. */
static size_t count_inside(const struct search *search, const struct line *line)
{
    size_t inside = 0;
    for (size_t i = 0; i < search->anchor_count; i++) {
        double own = site_s(search, i) - line->offset_s;
        inside += own > -DRIFT_EXTRA_S && own < search->length_s + DRIFT_EXTRA_S;
    }
    return inside;
}

/* By how much the line's beginning is off the guess, in s. */
static double off_guess(const struct search *search, const struct place *place, int64_t guess_ns)
{
    return fabs(line_offset(&place->line, 0.0) +
                (double)(search->reference_ns - guess_ns) / NS_PER_S);
}

/* The places at which most anchors are heard, and over half of those that the recording should
 * hold; all others leave the list. */
static void keep_best(struct search *search)
{
    size_t best = 0;
    size_t kept = 0;
    for (size_t i = 0; i < search->place_count; i++) {
        struct place *place = &search->places[i];
        if (2 * place->count < count_inside(search, &place->line) + 1) {
            place->count = 0;
        }
        best = place->count > best ? place->count : best;
    }
    for (size_t i = 0; i < search->place_count; i++) {
        if (best > 0 && search->places[i].count == best) {
            search->places[kept++] = search->places[i];
        }
    }
    search->place_count = kept;
}

static int choose(struct search *search, int64_t guess_ns, struct error *error)
{
    size_t near = 0;
    size_t chosen = 0;
    for (size_t i = 0; guess_ns != INT64_MIN && i < search->place_count; i++) {
        if (off_guess(search, &search->places[i], guess_ns) <= GUESS_NEAR_S) {
            chosen = i;
            near++;
        }
    }
    if (search->place_count == 0) {
        return error_set(
            error, ERROR_STATE,
            "of the night's %zu sounds to line up by, fewer than two, or fewer than half"
            " of those that it should hold, are heard in the recording: is it of this"
            " night?",
            search->anchor_count);
    }
    if (search->place_count > 1 && near != 1) {
        return error_set(
            error, ERROR_STATE,
            "the recording fits at %zu%s places of the night alike, %zu sounds at each:"
            " say about when it began (--start), within five minutes; next time make the"
            " sounds at uneven intervals",
            search->place_count, search->place_count == PLACES_MOST ? " or more" : "",
            search->places[0].count);
    }
    search->line = search->places[chosen].line;
    return 0;
}

int match_find(const struct match_anchor *anchors, size_t anchor_count, const struct finder *finder,
               double length_s, int64_t guess_ns, struct match *match, struct error *error)
{
    if (anchor_count < 2) {
        return error_set(error, ERROR_STATE,
                         "the night has %s to line up by; two are needed, one near each end"
                         " (\"roomwake chirp\", or a clap and \"roomwake mark --text clap\")",
                         anchor_count == 0 ? "no sound" : "one sound");
    }
    struct search search = {.anchors = anchors,
                            .anchor_count = anchor_count,
                            .finder = finder,
                            .length_s = length_s,
                            .reference_ns = anchors[0].site_ns};
    memset(match, 0, sizeof *match);
    for (size_t a = 0; a < anchor_count; a++) {
        for (size_t b = a + 1; b < anchor_count; b++) {
            try_pair(&search, a, b);
        }
    }
    keep_best(&search);
    if (choose(&search, guess_ns, error) != 0) {
        return -1;
    }
    fit(&search, match);
    match->anchors = count_inside(&search, &search.line);
    if (guess_ns != INT64_MIN &&
        fabs((double)(match->start_ns - guess_ns)) / NS_PER_S > GUESS_HOLDS_S) {
        return error_set(error, ERROR_STATE,
                         "the recording says that it began on another day than what fits it: is it"
                         " of this night?");
    }
    return 0;
}

int64_t match_site_ns(const struct match *match, double own_s)
{
    return match->start_ns + llround(own_s * (1.0 + match->drift_ppm * 1e-6) * NS_PER_S);
}

double match_sd_s(const struct match *match, double own_s)
{
    return hypot(match->middle_sd_s, match->drift_sd_ppm * 1e-6 * (own_s - match->middle_s));
}

double match_own_s(const struct match *match, int64_t site_ns)
{
    return (double)(site_ns - match->start_ns) / NS_PER_S / (1.0 + match->drift_ppm * 1e-6);
}
