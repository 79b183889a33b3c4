/* What every export is: a name and one function that reads a night and writes text.
 * Must never write a night. One file a format; exporters.c lists them. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_EXPORTER_H
#define ROOMWAKE_COLLECTOR_EXPORT_EXPORTER_H

#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "collector/night/reader.h"
#include "common/error.h"

struct export_options {
    int64_t from_ns;  /* INT64_MIN: from the beginning */
    int64_t to_ns;    /* exclusive; INT64_MAX: to the end */
    int analysis;     /* 0: the newest */
    const char *path; /* NULL: to `out` */
    FILE *out;
};

struct exporter {
    const char *name;
    const char *what; /* one line for the help */
    int (*run)(struct night_reader *reader, const struct export_options *options, FILE *out,
               struct error *error);
};

extern const struct exporter exporter_json;
extern const struct exporter exporter_csv;

/* All of them, ended by one without a name. */
extern const struct exporter *const exporters[];

/* ERROR_USAGE where there is no such format. A path is written beside itself first and renamed when
 * it is whole and on disk, so that it is never half there; what is no plain file (a pipe, a device)
 * is written as it is. */
int export_run(const char *name, struct night_reader *reader, const struct export_options *options,
               struct error *error);

#endif
