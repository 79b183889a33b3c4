/* Threads that share a list of jobs, one a processor.
 * Must never let a job's outcome depend on which thread had it. Called by ahead. */
#ifndef ROOMWAKE_COLLECTOR_PIPELINE_CREW_H
#define ROOMWAKE_COLLECTOR_PIPELINE_CREW_H

#include <stddef.h>

#include "common/error.h"

struct crew;

/* As many threads as there are processors, the caller's own among them. */
int crew_new(struct crew **crew, struct error *error);
/* Jobs that nobody has taken yet are dropped. */
void crew_free(struct crew *crew);

/* Has work(context, job) called once for each job from 0 to count - 1, on any thread and in any
 * order, and does not wait for it. What was begun before must have been finished. */
void crew_begin(struct crew *crew, void (*work)(void *context, size_t job), void *context,
                size_t count);
/* Works with them until all is done; at once where nothing was begun. */
void crew_finish(struct crew *crew);

#endif
