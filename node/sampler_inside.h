/* What the sampler's files share: the drivers as sources.
 * Must never be used outside node/sampler*.c. */
#ifndef ROOMWAKE_NODE_SAMPLER_INSIDE_H
#define ROOMWAKE_NODE_SAMPLER_INSIDE_H

#include "node/outage.h"
#include "node/sampler.h"
#include "node/sensor_watch.h"

#define SAMPLER_PAUSE_LEAST_NS NS_PER_S

struct source {
    struct sampler *sampler;
    const struct node_driver_config *config;
    struct driver *driver; /* NULL while it is closed */
    size_t first;          /* its first channel, counted over the node */
    size_t count;
    int64_t told_ns; /* all samples before are handed over */
    int64_t next_ns; /* to be asked, or opened, again */
    int64_t pause_ns;
    bool missing; /* it was not there at the start: its channels are not known */
    bool behind;  /* it has more to tell than it told */
    char fault[160];
    char logged[160]; /* the last fault that was, while no sample came since */
    struct outage outage;
};

struct sampler {
    struct sampler_setup setup;
    struct channel channels[NODE_CHANNELS_MAX];
    size_t channel_count;
    struct sensor_watch watches[NODE_CHANNELS_MAX];
    struct source sources[NODE_DRIVERS_MAX];
    size_t source_count;
    struct cutter *cutter;
    uv_timer_t timer;
    bool started;
    bool found;     /* on_found was told */
    int64_t cut_ns; /* the next frame is due */
    size_t battery; /* its channel; SIZE_MAX where there is none */
    double battery_v;
};

/* After sampler_open failed at the start: whether the node may go on without it, which is noted. */
bool sampler_miss(struct source *source, int64_t now_ns, const struct error *error);
/* Opens the source's driver; its channels bear the node's calibration. */
int sampler_open(struct source *source, struct channel *channels, size_t size, size_t *count,
                 struct error *error);
/* Takes what the driver has; opens it again where it is closed and its pause is over. */
void sampler_ask(struct source *source, int64_t now_ns);

#endif
