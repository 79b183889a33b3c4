/* Counts of onsets, one a node and quantity.
 * Must never read a clock: live time ends at the data time that is asked about.
 * Called by correlator and judge. */
#include "collector/correlate/rates.h"

#include "collector/correlate/slides.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

struct onset {
    int64_t time_ns;
    enum band band;
    bool falling;
};

/* Every onset of the night, so that a mark that comes late is heeded. */
struct seen {
    int64_t time_ns;
    int64_t id; /* the disturbance's; they rise */
    bool away;
    bool marked;
};

struct watched {
    struct watched *next;
    char quantity[IDENT_SIZE];
    int64_t from_ns;
    unsigned trait;
    double sd_sum_s; /* of all onsets */
    uint64_t onsets;
    uint64_t counted; /* of them neither away nor marked */
    struct seen *seen;
    size_t seen_size;
    struct onset last[RATES_LAST]; /* a ring: the n-th onset is at n % RATES_LAST */
};

struct rates {
    const struct site *site;
    const struct away *away;
    struct watched **nodes; /* one list a node, in the order in which they began */
    struct recent *recent;
};

int rates_new(const struct site *site, const struct away *away, struct rates **rates,
              struct error *error)
{
    struct rates *made = calloc(1, sizeof *made);
    if (made) {
        made->site = site;
        made->away = away;
        made->nodes = calloc(site->node_count ? site->node_count : 1, sizeof(struct watched *));
    }
    if (!made || !made->nodes) {
        free(made);
        return error_set(error, ERROR_MEMORY, "rates: out of memory");
    }
    if (recent_new(&made->recent, error)) {
        rates_free(made);
        return -1;
    }
    *rates = made;
    return 0;
}

void rates_free(struct rates *rates)
{
    if (!rates) {
        return;
    }
    for (size_t i = 0; i < rates->site->node_count; i++) {
        for (struct watched *watched = rates->nodes[i]; watched;) {
            struct watched *next = watched->next;
            free(watched->seen);
            free(watched);
            watched = next;
        }
    }
    free(rates->nodes);
    recent_free(rates->recent);
    free(rates);
}

static struct watched *find(const struct rates *rates, uint32_t node, const char *quantity)
{
    struct watched *watched = rates->nodes[node];
    while (watched && strcmp(watched->quantity, quantity) != 0) {
        watched = watched->next;
    }
    return watched;
}

int rates_watch(struct rates *rates, uint32_t node, const char *quantity, int64_t from_ns,
                struct error *error)
{
    if (find(rates, node, quantity)) {
        return 0;
    }
    struct watched *made = calloc(1, sizeof *made);
    if (!made) {
        return error_set(error, ERROR_MEMORY, "rates: out of memory");
    }
    (void)snprintf(made->quantity, sizeof made->quantity, "%s", quantity);
    made->trait = slides_trait_of(quantity_from_name(quantity));
    made->from_ns = from_ns;
    /* In order of name, so that sums of rates don't depend on who learnt first. */
    struct watched **place = &rates->nodes[node];
    while (*place && strcmp((*place)->quantity, made->quantity) < 0) {
        place = &(*place)->next;
    }
    made->next = *place;
    *place = made;
    return 0;
}

static struct onset onset_of(const struct disturbance *disturbance)
{
    return (struct onset){disturbance->onset_ns, disturbance->band, disturbance->settle_step < 0.0};
}

static bool counts(const struct seen *seen)
{
    return !seen->away && !seen->marked;
}

static int keep_seen(const struct rates *rates, struct watched *watched,
                     const struct disturbance *disturbance, struct error *error)
{
    if (watched->onsets == watched->seen_size) {
        size_t size = watched->seen_size ? 2 * watched->seen_size : 16;
        struct seen *seen = realloc(watched->seen, size * sizeof *seen);
        if (!seen) {
            return error_set(error, ERROR_MEMORY, "rates: out of memory");
        }
        watched->seen = seen;
        watched->seen_size = size;
    }
    struct seen *seen = &watched->seen[watched->onsets];
    *seen = (struct seen){.time_ns = disturbance->onset_ns, .id = disturbance->id};
    seen->away = away_covers(away_of(rates->away, disturbance->node), seen->time_ns);
    watched->counted += counts(seen);
    return 0;
}

int rates_count(struct rates *rates, const struct disturbance *disturbance, struct error *error)
{
    if (rates_watch(rates, disturbance->node, disturbance->quantity_text, disturbance->onset_ns,
                    error)) {
        return -1;
    }
    struct watched *watched = find(rates, disturbance->node, disturbance->quantity_text);
    if (keep_seen(rates, watched, disturbance, error)) {
        return -1;
    }
    recent_onset(rates->recent, disturbance);
    watched->sd_sum_s += (double)disturbance_onset_sd_ns(disturbance) * 1e-9;
    watched->last[watched->onsets++ % RATES_LAST] = onset_of(disturbance);
    return 0;
}

void rates_recount(struct rates *rates)
{
    for (size_t node = 0; node < rates->site->node_count; node++) {
        const struct away_list *list = away_of(rates->away, (uint32_t)node);
        for (struct watched *watched = rates->nodes[node]; watched; watched = watched->next) {
            watched->counted = 0;
            for (uint64_t i = 0; i < watched->onsets; i++) {
                struct seen *seen = &watched->seen[i];
                seen->away = away_covers(list, seen->time_ns);
                watched->counted += counts(seen);
            }
        }
    }
}

static struct seen *find_seen(const struct watched *watched, int64_t id)
{
    for (uint64_t i = watched->onsets; i > 0 && watched->seen[i - 1].id >= id; i--) {
        if (watched->seen[i - 1].id == id) {
            return &watched->seen[i - 1];
        }
    }
    return NULL;
}

void rates_set_marked(struct rates *rates, const struct disturbance *disturbance, bool marked)
{
    struct watched *watched = find(rates, disturbance->node, disturbance->quantity_text);
    struct seen *seen = watched ? find_seen(watched, disturbance->id) : NULL;
    if (seen) {
        watched->counted -= counts(seen);
        seen->marked = marked;
        watched->counted += counts(seen);
    }
}

void rates_ended(struct rates *rates, const struct disturbance *disturbance)
{
    recent_end(rates->recent, disturbance);
}

const struct recent *rates_recent(const struct rates *rates)
{
    return rates->recent;
}

/* The remembered onsets up to the disturbance's own, the latest first. */
static size_t list_like(const struct watched *watched, const struct disturbance *disturbance,
                        bool any_kind, int64_t *times_ns)
{
    struct onset like = onset_of(disturbance);
    uint64_t kept = watched->onsets < RATES_LAST ? watched->onsets : RATES_LAST;
    size_t count = 0;
    for (uint64_t back = 1; back <= kept; back++) {
        const struct onset *onset = &watched->last[(watched->onsets - back) % RATES_LAST];
        bool alike = onset->band == like.band && onset->falling == like.falling;
        if (onset->time_ns <= like.time_ns && (any_kind || alike)) {
            times_ns[count++] = onset->time_ns;
        }
    }
    return count;
}

struct rhythm rates_rhythm(const struct rates *rates, const struct disturbance *disturbance)
{
    const struct watched *watched = find(rates, disturbance->node, disturbance->quantity_text);
    int64_t times_ns[RATES_LAST];
    struct rhythm rhythm = {0, 0.0, INFINITY};
    rhythm.onsets = watched ? list_like(watched, disturbance, false, times_ns) : 0;
    if (rhythm.onsets < 2) {
        return rhythm;
    }
    double intervals = (double)rhythm.onsets - 1.0;
    rhythm.period_s = (double)(times_ns[0] - times_ns[rhythm.onsets - 1]) * 1e-9 / intervals;
    double squares = 0.0;
    for (size_t i = 1; i < rhythm.onsets; i++) {
        double off_s = (double)(times_ns[i - 1] - times_ns[i]) * 1e-9 - rhythm.period_s;
        squares += off_s * off_s;
    }
    if (rhythm.onsets > 2 && rhythm.period_s > 0.0) {
        rhythm.spread = sqrt(squares / (intervals - 1.0)) / rhythm.period_s;
    }
    return rhythm;
}

size_t rates_lately(const struct rates *rates, const struct disturbance *disturbance,
                    int64_t span_ns)
{
    const struct watched *watched = find(rates, disturbance->node, disturbance->quantity_text);
    int64_t times_ns[RATES_LAST];
    size_t count = watched ? list_like(watched, disturbance, true, times_ns) : 0;
    size_t lately = 0;
    for (size_t i = 0; i < count; i++) {
        lately += times_ns[i] >= disturbance->onset_ns - span_ns;
    }
    return lately;
}

static uint64_t own_onsets(const struct watched *watched, uint32_t node,
                           const struct disturbance *const *members, size_t member_count)
{
    uint64_t own = 0;
    for (size_t i = 0; i < member_count; i++) {
        if (members[i]->node == node && strcmp(members[i]->quantity_text, watched->quantity) == 0) {
            const struct seen *seen = find_seen(watched, members[i]->id);
            own += seen && counts(seen);
        }
    }
    return own < watched->counted ? own : watched->counted;
}

/* Traits in the order in which a node's streams are told. */
static const unsigned traits[RATES_TRAITS] = {0, SLIDES_MOTION, SLIDES_SLOW, SLIDES_MAGNETIC};

/* The quantity's rate goes to the stream of its trait; onsets' sd too, weighed by rate. */
static void add_watched(const struct watched *watched, double hz, struct accidental_stream *streams)
{
    for (size_t i = 0; i < RATES_TRAITS; i++) {
        if (traits[i] == watched->trait) {
            double sd_s = watched->onsets ? watched->sd_sum_s / (double)watched->onsets : 0.0;
            streams[i].hz += hz;
            streams[i].sd_s += hz * sd_s;
        }
    }
}

/* What is known of one stream at a moment, without what is being judged. */
struct known {
    double onsets;
    double live_s;
};

static struct known known_of(const struct rates *rates, const struct watched *watched,
                             uint32_t node, int64_t now_ns,
                             const struct disturbance *const *members, size_t member_count)
{
    uint64_t others = watched->counted - own_onsets(watched, node, members, member_count);
    int64_t live_ns = away_to_live(away_of(rates->away, node), watched->from_ns, now_ns);
    return (struct known){(double)others, fmax(0.0, (double)live_ns * 1e-9)};
}

/* How much livelier this night is than was asked for, over all that is watched: known sooner than
 * each stream's own rate, which starts from it. */
static double liveliness(const struct rates *rates, int64_t now_ns,
                         const struct disturbance *const *members, size_t member_count)
{
    double asked_hz = rates->site->false_onsets_per_hour / 3600.0;
    double seen = 0.0;
    double expected = 0.0;
    for (size_t node = 0; node < rates->site->node_count; node++) {
        for (const struct watched *watched = rates->nodes[node]; watched; watched = watched->next) {
            struct known known =
                known_of(rates, watched, (uint32_t)node, now_ns, members, member_count);
            seen += asked_hz * RATES_SITE_PRIOR_S + known.onsets;
            expected += asked_hz * (RATES_SITE_PRIOR_S + known.live_s);
        }
    }
    return expected > 0.0 ? fmin(RATES_LIVELIEST, (seen + RATES_ALLOWED) / expected) : 1.0;
}

size_t rates_streams(const struct rates *rates, int64_t now_ns,
                     const struct disturbance *const *members, size_t member_count,
                     struct accidental_stream *streams)
{
    double usual_hz = rates->site->false_onsets_per_hour / 3600.0 *
                      liveliness(rates, now_ns, members, member_count);
    size_t count = 0;
    for (size_t node = 0; node < rates->site->node_count; node++) {
        struct accidental_stream own[RATES_TRAITS] = {{0, 0, 0.0, 0.0}};
        for (const struct watched *watched = rates->nodes[node]; watched; watched = watched->next) {
            struct known known =
                known_of(rates, watched, (uint32_t)node, now_ns, members, member_count);
            add_watched(watched,
                        (usual_hz * RATES_PRIOR_S + known.onsets) / (RATES_PRIOR_S + known.live_s),
                        own);
        }
        for (size_t i = 0; i < RATES_TRAITS; i++) {
            if (own[i].hz > 0.0) {
                streams[count++] = (struct accidental_stream){(uint32_t)node, traits[i], own[i].hz,
                                                              own[i].sd_s / own[i].hz};
            }
        }
    }
    return count;
}
