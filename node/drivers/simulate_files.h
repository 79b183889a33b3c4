/* The files of the simulate driver: texts in, the shared start of the scenario, the truth list out.
 * Must never know of samples. Called by simulate.c only. */
#ifndef ROOMWAKE_NODE_DRIVERS_SIMULATE_FILES_H
#define ROOMWAKE_NODE_DRIVERS_SIMULATE_FILES_H

#include <stddef.h>
#include <stdint.h>

#include "common/error.h"
#include "node/world/world.h"

#define SIMULATE_PATH_SIZE 2048

/* `path`, or dir/path where it is relative. */
int simulate_path(const char *dir, const char *path, char out[SIMULATE_PATH_SIZE],
                  struct error *error);

/* The scenario's start that the file holds, RFC 3339. Where there is no file yet it is made with
 * now_ns, in one step: of several nodes that start together one wins and all read the same. */
int simulate_agree_start(const char *path, int64_t now_ns, int64_t *start_ns, struct error *error);

/* Appends one line of JSON for an entry of the truth list; several nodes may share a file. */
int simulate_append_truth(const char *path, const char *node, int64_t start_ns,
                          const struct script *script, const struct world_truth *truth,
                          struct error *error);

#endif
