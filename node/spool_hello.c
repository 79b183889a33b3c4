/* The hello of each boot, kept beside its frames: they may leave only after the next start, and the
 * collector reads them by the channels that this boot had.
 * Must never stand in the way of the frames: without one they are sent all the same. Called through
 * spool.h. */
#include "node/spool_inside.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define NAME_SIZE 32

static void hello_name(uint64_t boot, char name[NAME_SIZE])
{
    snprintf(name, NAME_SIZE, "%016" PRIx64 ".hello", boot);
}

static int fail(struct spool *spool, int fd, const char *name, struct error *error)
{
    int code = errno;
    if (fd >= 0) {
        close(fd);
    }
    (void)unlinkat(spool->dir_fd, name, 0);
    return error_set(error, ERROR_IO, "spool: %s: %s", name, strerror(code));
}

int spool_keep_hello(struct spool *spool, uint64_t boot, const char *text, size_t length,
                     struct error *error)
{
    char name[NAME_SIZE];
    hello_name(boot, name);
    int fd = openat(spool->dir_fd, "hello.new", O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0640);
    if (fd < 0 || write(fd, text, length) != (ssize_t)length || fdatasync(fd)) {
        return fail(spool, fd, "hello.new", error);
    }
    close(fd);
    if (renameat(spool->dir_fd, "hello.new", spool->dir_fd, name)) {
        return fail(spool, -1, "hello.new", error);
    }
    spool->new_file = true;
    return 0;
}

int spool_read_hello(struct spool *spool, uint64_t boot, char *text, size_t size, size_t *length,
                     struct error *error)
{
    char name[NAME_SIZE];
    hello_name(boot, name);
    int fd = openat(spool->dir_fd, name, O_RDONLY | O_CLOEXEC);
    ssize_t got = fd >= 0 ? read(fd, text, size) : -1;
    int code = errno;
    if (fd >= 0) {
        close(fd);
    }
    if (got <= 0 || (size_t)got == size) {
        return error_set(error, ERROR_NOT_FOUND, "spool: %s: %s", name,
                         got < 0 ? strerror(code) : "empty or too long");
    }
    *length = (size_t)got;
    return 0;
}

static bool boot_is_held(const struct spool *spool, uint64_t boot)
{
    for (size_t i = 0; i < spool->segment_count; i++) {
        if (spool->segments[i].boot == boot) {
            return true;
        }
    }
    return false;
}

void spool_clean_hellos(struct spool *spool)
{
    int fd = openat(spool->dir_fd, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *dir = fd >= 0 ? fdopendir(fd) : NULL;
    if (!dir) {
        if (fd >= 0) {
            close(fd);
        }
        return;
    }
    const struct dirent *entry;
    while ((entry = readdir(dir)) != NULL) {
        uint64_t boot;
        int used = 0;
        if (sscanf(entry->d_name, "%16" SCNx64 ".hello%n", &boot, &used) == 1 && used == 22 &&
            !entry->d_name[22] && !boot_is_held(spool, boot)) {
            (void)unlinkat(spool->dir_fd, entry->d_name, 0);
        }
    }
    closedir(dir);
}
