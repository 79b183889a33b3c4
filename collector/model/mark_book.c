/* One entry a mark; a correction takes its place.
 * Must never do I/O. Called by correlator, intake and the reader. */
#include "collector/model/mark_book.h"

#include <stdlib.h>

static struct mark *find(const struct mark_book *book, int64_t number)
{
    for (size_t i = 0; i < book->count; i++) {
        if (mark_number(book->marks[i]) == number) {
            return book->marks[i];
        }
    }
    return NULL;
}

const struct mark *mark_book_find(const struct mark_book *book, int64_t number)
{
    return find(book, number);
}

static int reserve(struct mark_book *book, struct error *error)
{
    if (book->count < book->size) {
        return 0;
    }
    size_t size = book->size ? book->size * 2 : 8;
    struct mark **marks = realloc(book->marks, size * sizeof(struct mark *));
    if (!marks) {
        return error_set(error, ERROR_MEMORY, "out of memory for a mark");
    }
    book->marks = marks;
    book->size = size;
    return 0;
}

int mark_book_take(struct mark_book *book, const struct mark *mark, struct error *error)
{
    if (mark->corrects != 0) {
        struct mark *old = find(book, mark->corrects);
        if (!old) {
            return error_set(error, ERROR_NOT_FOUND, "there is no mark %lld to correct",
                             (long long)mark->corrects);
        }
        *old = *mark;
        return 0;
    }
    if (reserve(book, error)) {
        return -1;
    }
    struct mark *kept = malloc(sizeof *kept);
    if (!kept) {
        return error_set(error, ERROR_MEMORY, "out of memory for a mark");
    }
    *kept = *mark;
    book->marks[book->count++] = kept;
    return 0;
}

void mark_book_free(struct mark_book *book)
{
    for (size_t i = 0; i < book->count; i++) {
        free(book->marks[i]);
    }
    free(book->marks);
    *book = (struct mark_book){0};
}
