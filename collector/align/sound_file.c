/* libsndfile behind a stream of one channel.
 * Must never trust a header: rate, channels and length are bounded. Called by record/align. */
#include "collector/align/sound_file.h"

#include <sndfile.h>
#include <complex.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "collector/align/chirp.h"

#define RATE_LEAST 8000
#define RATE_MOST 384000
#define PIECE_FRAMES 8192

struct sound_file {
    SNDFILE *file;
    int channels;
    float *piece;
};

static void read_time_reference(SNDFILE *file, struct sound_file_info *info)
{
    SF_BROADCAST_INFO bext;
    memset(&bext, 0, sizeof bext);
    if (sf_command(file, SFC_GET_BROADCAST_INFO, &bext, sizeof bext) != SF_TRUE) {
        return;
    }
    info->time_reference_known = true;
    info->time_reference =
        (int64_t)((uint64_t)bext.time_reference_high << 32 | bext.time_reference_low);
    memcpy(info->origination_date, bext.origination_date, sizeof info->origination_date - 1);
}

int sound_file_open(const char *path, struct sound_file **out, struct sound_file_info *info,
                    struct error *error)
{
    SF_INFO head;
    memset(&head, 0, sizeof head);
    memset(info, 0, sizeof *info);
    SNDFILE *file = sf_open(path, SFM_READ, &head);
    if (!file) {
        return error_set(error, ERROR_FORMAT, "%s: %s", path, sf_strerror(NULL));
    }
    struct sound_file *recording = NULL;
    int result = 0;
    if (head.samplerate < RATE_LEAST || head.samplerate > RATE_MOST || head.channels < 1 ||
        head.channels > SOUND_FILE_CHANNELS_MAX || head.frames < 1) {
        result = error_set(error, ERROR_RANGE, "%s: %d Hz, %d channels, %lld samples: not taken",
                           path, head.samplerate, head.channels, (long long)head.frames);
    } else if (!(recording = calloc(1, sizeof *recording)) ||
               !(recording->piece =
                     calloc((size_t)head.channels * PIECE_FRAMES, sizeof *recording->piece))) {
        result = error_set(error, ERROR_MEMORY, "%s: out of memory", path);
    }
    if (result != 0) {
        free(recording);
        (void)sf_close(file);
        return -1;
    }
    recording->file = file;
    recording->channels = head.channels;
    info->rate_hz = head.samplerate;
    info->channels = head.channels;
    info->frames = head.frames;
    read_time_reference(file, info);
    *out = recording;
    return 0;
}

int64_t sound_file_read(struct sound_file *recording, float *mono, size_t size, struct error *error)
{
    sf_count_t wanted = size < PIECE_FRAMES ? (sf_count_t)size : PIECE_FRAMES;
    sf_count_t got = sf_readf_float(recording->file, recording->piece, wanted);
    if (got < wanted && sf_error(recording->file) != SF_ERR_NO_ERROR) {
        return error_set(error, ERROR_IO, "recording: %s", sf_strerror(recording->file));
    }
    const int channels = recording->channels;
    for (sf_count_t i = 0; i < got; i++) {
        float sum = 0.0F;
        for (int c = 0; c < channels; c++) {
            sum += recording->piece[i * channels + c];
        }
        mono[i] = sum / (float)channels;
    }
    return got;
}

const float *sound_file_frames(const struct sound_file *recording)
{
    return recording->piece;
}

void sound_file_close(struct sound_file *recording)
{
    if (recording) {
        (void)sf_close(recording->file);
        free(recording->piece);
        free(recording);
    }
}

int sound_file_write_chirp(const char *path, int rate_hz, double lead_s, double loudness,
                           struct error *error)
{
    SF_INFO head = {
        .samplerate = rate_hz, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    const size_t count = (size_t)llround((CHIRP_LENGTH_S + 2.0 * lead_s) * rate_hz);
    float *samples = calloc(count, sizeof *samples);
    if (!samples) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", path);
    }
    for (size_t i = 0; i < count; i++) {
        samples[i] = (float)(loudness * creal(chirp_at((double)i / rate_hz - lead_s)));
    }
    SNDFILE *file = sf_open(path, SFM_WRITE, &head);
    bool written = file && sf_writef_float(file, samples, (sf_count_t)count) == (sf_count_t)count;
    free(samples);
    if ((file && sf_close(file) != 0) || !written) {
        return error_set(error, ERROR_IO, "%s: %s", path, sf_strerror(NULL));
    }
    return 0;
}
