/* Lines a sound recording up with a night.
 * Must never touch the night or the recording. Used by cmd_align.c; recorder.h makes its level a
 * witness. */
#ifndef ROOMWAKE_COLLECTOR_RECORD_ALIGN_H
#define ROOMWAKE_COLLECTOR_RECORD_ALIGN_H

#include <stdio.h>

#include "collector/align/match.h"
#include "collector/align/sound_file.h"
#include "collector/record/align_levels.h"
#include "common/error.h"
#include "common/ident.h"

struct align_settings {
    const char *night_path;
    const char *recording_path;
    int64_t start_ns;            /* about when it began; INT64_MIN: as its own label says, if any */
    double distance_m;           /* from the speaker to the recorder; below 0: not known */
    struct align_levels *levels; /* NULL, or what is to be filled with the recording's level */
};

struct align_result {
    char night[IDENT_SIZE * 2]; /* its id */
    struct match match;
    struct sound_file_info info;
    size_t chirps_marked;
    size_t claps_marked;
    size_t from_nodes; /* anchors timed by a node that heard them, not by the mark */
};

/* Speed of sound in air at 20 Cel, 331.3 sqrt(1 + 20 / 273.15) m/s (the usual approximation, from
 * memory). */
#define ALIGN_SOUND_M_S 343.2

int align_run(const struct align_settings *settings, struct align_result *result,
              struct error *error);
/* What was found, for people. */
void align_write(const struct align_settings *settings, const struct align_result *result,
                 FILE *out);
/* Beside the recording, as RECORDING.align.json: what `export --for` reads. ERROR_IO, ERROR_FULL.
 */
int align_save(const struct align_settings *settings, const struct align_result *result,
               struct error *error);

#endif
