/* The site file: rooms, doors, nodes and the few numbers that the user sets.
 * Must never guess: an unknown or wrong field is an error that names the field by its path. */
#ifndef ROOMWAKE_COMMON_SITE_H
#define ROOMWAKE_COMMON_SITE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/channel.h"
#include "common/error.h"
#include "common/ident.h"

#define SITE_TITLE_SIZE 128
#define SITE_ROOMS_MAX 64
#define SITE_DOORS_MAX 128
#define SITE_NODES_MAX 1024
#define SITE_OUTLINE_MAX 64
#define SITE_FILE_MAX (4u * 1024u * 1024u)

struct site_room {
    char id[IDENT_SIZE];
    char title[SITE_TITLE_SIZE];
    int floor;
    size_t corner_count;
    double outline_m[SITE_OUTLINE_MAX][2];
};

struct site_door {
    size_t rooms[2]; /* indices */
    double at_m[2];
};

struct site_node {
    char id[IDENT_SIZE];
    size_t room; /* index */
    double position_m[3];
    bool control;
    double clock_error_s;   /* 1 sigma, for import and SenML nodes */
    double battery_empty_v; /* at which it stops; 0: not told */
    size_t channel_count;
    struct channel channels[NODE_CHANNELS_MAX];
    double noise[NODE_CHANNELS_MAX]; /* the part's own figure, 1 sigma in the unit; 0: not told */
};

/* Opaque in spirit, plain in fact: read the fields, never write them. */
struct site {
    char id[IDENT_SIZE];
    char title[SITE_TITLE_SIZE];
    double mains_hz;
    double baseline_s;
    double false_onsets_per_hour;
    double alert_limit_per_night;
    double order_confidence;
    size_t room_count;
    struct site_room *rooms;
    size_t door_count;
    struct site_door *doors;
    size_t node_count;
    struct site_node *nodes;
};

/* Reads and checks (site_check.h). On success *site is owned by the caller: site_free. `name` is
 * what errors call the text, e.g. the file's path. */
int site_parse(const char *text, size_t length, const char *name, struct site **site,
               struct error *error);
/* The same from a file; *text (may be NULL) receives the file's bytes, owned by the caller: free.
 */
int site_load(const char *path, struct site **site, char **text, struct error *error);
void site_free(struct site *site);

/* Sets one number by its site-file name ("baseline_s"), as `reanalyse --set` does; checks its
 * range. */
int site_set(struct site *site, const char *key, const char *value, struct error *error);

/* SIZE_MAX where there is none. */
size_t site_find_node(const struct site *site, const char *id);
size_t site_find_room(const struct site *site, const char *id);
size_t site_node_find_channel(const struct site_node *node, const char *name);

/* Straight distance between two nodes, metres; floors are 2.7 m apart (a usual storey; z is
 * measured from the node's own floor). */
double site_node_distance_m(const struct site *site, size_t a, size_t b);
/* Walking distance between two nodes through doors; negative where no doors connect their rooms. */
double site_node_walk_m(const struct site *site, size_t a, size_t b);

#endif
