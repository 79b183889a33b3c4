/* A sound file as one stream of samples: what libsndfile reads, its channels averaged.
 * Must never change the recording, nor keep more than a piece of it. Called by record/align. */
#ifndef ROOMWAKE_COLLECTOR_ALIGN_SOUND_FILE_H
#define ROOMWAKE_COLLECTOR_ALIGN_SOUND_FILE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

#define SOUND_FILE_CHANNELS_MAX 16

struct sound_file;

struct sound_file_info {
    double rate_hz; /* nominal: its clock is what is to be found out */
    int channels;
    int64_t frames;
    /* Broadcast wave (EBU Tech 3285, bext): samples since midnight at the start, and the date as it
     * stands there ("2024-03-01"; not trusted, not checked). */
    bool time_reference_known;
    int64_t time_reference;
    char origination_date[11];
};

/* ERROR_NOT_FOUND, ERROR_FORMAT (no sound file that can be read), ERROR_RANGE (rate or channels out
 * of bounds). */
int sound_file_open(const char *path, struct sound_file **recording, struct sound_file_info *info,
                    struct error *error);
/* Up to `size` frames, the mean of the channels, full scale 1. 0 at the end, -1 on error. */
int64_t sound_file_read(struct sound_file *recording, float *mono, size_t size,
                        struct error *error);
/* What was read last, all channels, interleaved; valid until the next read. */
const float *sound_file_frames(const struct sound_file *recording);
void sound_file_close(struct sound_file *recording);

/* A wave file of 16 bits with one chirp (chirp.h), `lead_s` of silence before and after. ERROR_IO.
 */
int sound_file_write_chirp(const char *path, int rate_hz, double lead_s, double loudness,
                           struct error *error);

#endif
