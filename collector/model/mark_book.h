/* The marks of a night as they stand after all corrections so far.
 * Must never forget a mark that was withdrawn: a correction may not bring it back unseen.
 * Kept by correlator, intake and whoever lists marks. */
#ifndef ROOMWAKE_COLLECTOR_MODEL_MARK_BOOK_H
#define ROOMWAKE_COLLECTOR_MODEL_MARK_BOOK_H

#include <stddef.h>

#include "collector/model/mark.h"
#include "common/error.h"

/* Caller-owned, start from {0}: mark_book_free. Each entry is a mark's last row, owned, in the
 * order of their first rows. */
struct mark_book {
    size_t count;
    size_t size;
    struct mark **marks;
};

/* A new mark, or the next row of one. ERROR_MEMORY; ERROR_NOT_FOUND where it corrects none. */
int mark_book_take(struct mark_book *book, const struct mark *mark, struct error *error);
void mark_book_free(struct mark_book *book);

/* By the mark's number; NULL where there is none. */
const struct mark *mark_book_find(const struct mark_book *book, int64_t number);

#endif
