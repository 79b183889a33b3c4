/* Everything about a night that can be checked from its file alone: that the file is whole, that it
 * is what was sealed, that every block decodes to what its row says. Must never write, nor end at
 * the first thing that is off. Used by cmd_verify.c. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_VERIFY_H
#define ROOMWAKE_COLLECTOR_NIGHT_VERIFY_H

#include <stdbool.h>
#include <stdint.h>

#include "collector/model/gap.h"
#include "common/error.h"
#include "common/ident.h"

#define VERIFY_ROOT_SIZE 32

/* What was sealed: the samples (analysis 0) or an analysis, by its newest seal. */
struct verify_seal {
    int64_t analysis;
    bool closed; /* false: the samples so far, of a night that was not closed */
    bool added;  /* the samples with what was added after the night's end */
    bool holds;
    int64_t time_ns;
    int64_t rows;
    uint8_t root[VERIFY_ROOT_SIZE];
    uint8_t public_key[VERIFY_ROOT_SIZE];
};

/* Called while it goes on. */
struct verify_sink {
    void *context;
    /* Something is off: the table ("file" for the file itself), the row in words ("" for the whole
     * table), what. */
    void (*fault)(void *context, const char *table, const char *row, const char *text);
    void (*seal)(void *context, const struct verify_seal *seal);
    void (*gap)(void *context, const char *node, const struct gap *gap);
};

struct verify_result {
    char id[IDENT_SIZE * 2];
    int64_t end_ns; /* 0: it was not closed */
    uint64_t faults;
    uint64_t gaps;
    uint64_t frames;
    uint64_t blocks;
    uint64_t samples;
    uint64_t seals_so_far;  /* made while the night was recorded */
    uint64_t rows_unsealed; /* came after the last of them */
    bool root_found;        /* the root that was asked for is this night's, and holds */
    int64_t root_time_ns;   /* when it was sealed */
};

/* `root` may be NULL. -1: it is no night, or nothing of it can be read; what is off is no error. */
int night_verify(const char *path, const uint8_t root[VERIFY_ROOT_SIZE],
                 const struct verify_sink *sink, struct verify_result *result, struct error *error);

#endif
