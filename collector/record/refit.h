/* A stored night's clocks, fitted again from all exchanges at once, and its blocks' times by them.
 * Must never touch what is stored: blocks are moved while they are read. Used by analyse.c. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_REFIT_H
#define ROOMWAKE_COLLECTOR_RECORD_REFIT_H

#include <stddef.h>
#include <stdint.h>

#include "collector/night/reader.h"
#include "common/error.h"
#include "common/site.h"

struct refit;

/* What it does to one node. */
struct refit_change {
    size_t exchanges;   /* 0: none are stored, its times stay as they are */
    int64_t most_ns;    /* the largest move of a block, signed; later is positive */
    int64_t most_at_ns; /* where that was, site time as stored */
    int64_t live_sd_ns; /* median one sigma of the stored fits and of the new ones; -1: none */
    int64_t fitted_sd_ns;
};

/* Caller frees. A night without exchanges gives a re-fit that changes nothing. */
int refit_new(struct night_reader *reader, const struct site *site, struct refit **refit,
              struct error *error);
void refit_free(struct refit *refit);
const struct refit_change *refit_get_change(const struct refit *refit, uint32_t node);
/* What it did to a node, in words; as a notice its quantity is REFIT_QUANTITY. */
#define REFIT_TEXT_SIZE 512
#define REFIT_QUANTITY "clock"
void refit_say_change(const struct refit *refit, uint32_t node, char text[REFIT_TEXT_SIZE]);
/* No block is moved further than this, to either side. */
int64_t refit_most_ns(const struct refit *refit);

/* Moves row->block to its new time; its explicit times then point into the refit, until the next
 * call. Rows as night_blocks_next gives them. *clock_sd_ns is the new one sigma there, rounded as a
 * live one; -1 where the stored one holds. */
void refit_block(struct refit *refit, struct night_block_row *row, int64_t *clock_sd_ns);

#endif
