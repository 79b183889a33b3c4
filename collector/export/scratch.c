/* Unnamed files (O_TMPFILE), or where the file system has none such, files whose name is taken away
 * at once. Must never leave a file behind. Called by bundle.c. */
#include "collector/export/scratch.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <sys/statvfs.h>
#include <unistd.h>

#define MEBIBYTE 1048576.0

static int open_unnamed(const char *folder)
{
    char name[PATH_MAX];
    int descriptor = open(folder, O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
    if (descriptor >= 0 || (errno != EOPNOTSUPP && errno != EISDIR && errno != EINVAL)) {
        return descriptor;
    }
    if (snprintf(name, sizeof name, "%s/.roomwake.XXXXXX", folder) >= (int)sizeof name) {
        errno = ENAMETOOLONG;
        return -1;
    }
    descriptor = mkostemp(name, O_CLOEXEC);
    if (descriptor >= 0) {
        (void)unlink(name);
    }
    return descriptor;
}

/* ERROR_FULL: there is no room. */
static int try_folder(const char *folder, int64_t bytes, FILE **out, struct error *error)
{
    struct statvfs disk;
    if (statvfs(folder, &disk) != 0) {
        return error_set(error, ERROR_IO, "%s: %s", folder, strerror(errno));
    }
    double free_bytes = (double)disk.f_bavail * (double)disk.f_frsize;
    if (free_bytes < (double)bytes + (double)SCRATCH_SPARE_BYTES) {
        return error_set(error, ERROR_FULL,
                         "%s: no room: about %.0f MB are needed there for a while and %.0f MB are "
                         "to stay free, but only %.0f MB are",
                         folder, (double)bytes / MEBIBYTE, (double)SCRATCH_SPARE_BYTES / MEBIBYTE,
                         free_bytes / MEBIBYTE);
    }
    int descriptor = open_unnamed(folder);
    *out = descriptor >= 0 ? fdopen(descriptor, "w+") : NULL;
    if (!*out) {
        int why = errno;
        if (descriptor >= 0) {
            (void)close(descriptor);
        }
        return error_set(error, ERROR_IO, "%s: %s", folder, strerror(why));
    }
    return 0;
}

static const char *temporary_folder(void)
{
    const char *told = getenv("TMPDIR");
    return told && told[0] == '/' ? told : "/tmp";
}

int scratch_open(const char *beside, int64_t bytes, FILE **out, struct error *error)
{
    struct error other;
    const char *slash = strrchr(beside, '/');
    char *folder = slash ? strndup(beside, (size_t)(slash - beside) + 1) : strdup(".");
    if (!folder) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", beside);
    }
    int result = try_folder(folder, bytes, out, error);
    free(folder);
    /* What is told is why it can't be beside the night: there it belongs. */
    return result == 0 || try_folder(temporary_folder(), bytes, out, &other) == 0 ? 0 : -1;
}
