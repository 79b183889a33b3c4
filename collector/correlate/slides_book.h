/* What slides need of a night, kept while it goes on: onsets, live times, coincidences.
 * Must never keep more of them than that. Called by correlator. */
#ifndef ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_BOOK_H
#define ROOMWAKE_COLLECTOR_CORRELATE_SLIDES_BOOK_H

#include "collector/correlate/slides.h"

/* How often a node may be told to be unsteady where none is, over all nodes of a night (Sidak 1967,
 * J. Am. Stat. Assoc. 62:626). Our choice. */
#define SLIDES_UNSTEADY_P 0.01

struct slides_book;

struct slides_sink {
    void *context;
    /* For each coincidence, in order of id, whose chance is known better now. */
    void (*chance)(void *context, int64_t coincidence_id, const struct chance *chance);
    /* A node's onsets are no Poisson process of one rate; in words. */
    void (*unsteady)(void *context, uint32_t node, int64_t time_ns, const char *text);
};

int slides_book_new(size_t nodes, struct slides_book **book, struct error *error);
void slides_book_free(struct slides_book *book);

void slides_book_watch(struct slides_book *book, uint32_t node, int64_t from_ns);
/* In order of onset, with its id. */
int slides_book_onset(struct slides_book *book, const struct disturbance *disturbance,
                      struct error *error);
/* A final coincidence. */
int slides_book_coincidence(struct slides_book *book, const struct coincidence *coincidence,
                            struct error *error);

/* It belongs to what a mark covers: it has no part in any slide. */
void slides_book_leave_out(struct slides_book *book, int64_t disturbance_id);
/* Slides the night up to end_ns, without what is left out or away, and tells what came of it. */
int slides_book_close(struct slides_book *book, struct layout *layout, const struct away *away,
                      int64_t end_ns, const struct slides_sink *sink, struct error *error);

#endif
