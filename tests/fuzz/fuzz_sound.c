/* Any bytes as a sound recording: samples that are numbers, as many as there are, or an error.
 * Must never be linked into a product; libFuzzer calls it. */
#include <stdio.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <unistd.h>

#include "collector/align/sound_file.h"

#define READ_FRAMES 4096
#define READ_MOST (1 << 22)

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static float mono[READ_FRAMES];
    char path[64];
    struct sound_file *recording = NULL;
    struct sound_file_info info;
    struct error error = {0};
    int fd = memfd_create("sound", MFD_CLOEXEC);
    require(fd >= 0 && write(fd, data, size) == (ssize_t)size);
    (void)snprintf(path, sizeof path, "/proc/self/fd/%d", fd);
    if (sound_file_open(path, &recording, &info, &error) == 0) {
        int64_t all = 0;
        int64_t got = 0;
        require(info.rate_hz > 0 && info.channels > 0 && info.channels <= SOUND_FILE_CHANNELS_MAX);
        while (all < READ_MOST &&
               (got = sound_file_read(recording, mono, READ_FRAMES, &error)) > 0) {
            require(got <= READ_FRAMES);
            all += got;
        }
        sound_file_close(recording);
    } else {
        require(error.code != ERROR_NONE && error.text[0]);
    }
    (void)close(fd);
    return 0;
}
