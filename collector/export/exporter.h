/* What every export is: a name and one function that reads a night and writes bytes.
 * Must never write a night. One file a format; exporters.c lists them. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_EXPORTER_H
#define ROOMWAKE_COLLECTOR_EXPORT_EXPORTER_H

#include <signal.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "collector/night/reader.h"
#include "common/error.h"

struct own_time; /* own_time.h */

/* Start from EXPORT_ALL; what it points to stays the caller's. */
struct export_options {
    int64_t from_ns; /* INT64_MIN: from the beginning */
    int64_t to_ns;   /* exclusive; INT64_MAX: to the end */
    int analysis;    /* 0: the newest */
    bool per_second; /* csv: least, mean and most of each second instead of the samples */
    const struct own_time *own; /* webvtt: in a recording's own time; NULL: in the night's */
    bool replace;               /* what is at `path` already; else that is an error */
    const char *path;           /* NULL: to `out` */
    FILE *out;
    /* Samples of these only; none: all. A name that the night does not have is ERROR_USAGE. */
    const char *const *nodes;
    size_t node_count;
    const char *const *channels;
    size_t channel_count;
    /* How far it has come, 0 to 100, told when it changed; may be NULL. */
    void (*progress)(void *context, int percent);
    void *context;
    /* Not 0: end with ERROR_STATE and leave nothing behind; may be NULL. */
    const volatile sig_atomic_t *stop;
};

#define EXPORT_ALL                                                                                 \
    {                                                                                              \
        .from_ns = INT64_MIN, .to_ns = INT64_MAX                                                   \
    }

struct exporter {
    const char *name;
    const char *what; /* one line for the help */
    int (*run)(struct night_reader *reader, const struct export_options *options, FILE *out,
               struct error *error);
};

extern const struct exporter exporter_json;
extern const struct exporter exporter_csv;
extern const struct exporter exporter_senml;
extern const struct exporter exporter_webvtt;
extern const struct exporter exporter_mseed;

/* All of them, ended by NULL. */
extern const struct exporter *const exporters[];

/* ERROR_USAGE where there is no such format. A path is written whole or not at all (whole.h); what
 * is no plain file (a pipe, a device) is written as it is. */
int export_run(const char *name, struct night_reader *reader, const struct export_options *options,
               struct error *error);

#endif
