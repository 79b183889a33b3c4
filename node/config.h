/* The node's config file as a struct that is handed down in parts.
 * Must never guess: an unknown or wrong field is an error that names its path. */
#ifndef ROOMWAKE_NODE_CONFIG_H
#define ROOMWAKE_NODE_CONFIG_H

#include <stdbool.h>
#include <stdint.h>

#include "common/channel_calibrations.h"
#include "common/ident.h"
#include "common/mqtt_uv.h"
#include "node/drivers/driver.h"

#define NODE_CONFIG_MAX (1024u * 1024u)
#define NODE_DRIVERS_MAX 8
#define NODE_PATH_SIZE 1024
#define NODE_HOST_SIZE 256
#define NODE_AUTHORITY_SIZE 8192

struct node_driver_config {
    const struct driver_type *type;
    const cJSON *settings; /* the driver's object without its "driver" field */
    char path[32];         /* "drivers[0]" */
};

struct node_config {
    char node[IDENT_SIZE];
    char site[IDENT_SIZE];
    struct mqtt_config broker; /* where, as whom, and whom to believe; nothing else */
    bool clock_system;         /* the kernel is disciplined: no time server is asked */
    char time_host[NODE_HOST_SIZE];
    int time_port;
    char spool_path[NODE_PATH_SIZE]; /* a folder, made where it is missing */
    uint64_t spool_max_bytes;
    int64_t block_ns;
    int64_t state_every_ns;
    int64_t burst_every_ns;
    int burst_size;
    double battery_empty_v;                  /* NaN: not told, and then no hours are */
    struct channel_calibrations calibration; /* of no channel where the config names none */
    size_t driver_count;
    struct node_driver_config drivers[NODE_DRIVERS_MAX];
    char dir[NODE_PATH_SIZE];            /* the config file's folder */
    char *broker_text;                   /* what `broker` points into */
    char authority[NODE_AUTHORITY_SIZE]; /* PEM, or a path; "" where none is named */
    cJSON *json;                         /* what the drivers' settings point into */
};

/* On success the caller owns what is in *config: node_config_free. `dir` is where relative paths
 * start. */
int node_config_parse(const char *text, size_t length, const char *name, const char *dir,
                      struct node_config *config, struct error *error);
int node_config_load(const char *path, struct node_config *config, struct error *error);
void node_config_free(struct node_config *config);

#endif
