/* An unnamed file that is linked into its folder when it is on disk; where the file system has none
 * such, one with a name of its own until then. Must never leave a part behind.
 * Called by the exports, the report and the bundle. */
#include "collector/export/whole.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define DESCRIPTOR_PATH_SIZE 32

int whole_fail(const char *path, struct error *error)
{
    enum error_code code =
        errno == ENOSPC || errno == EDQUOT || errno == EFBIG ? ERROR_FULL : ERROR_IO;
    return error_set(error, code, "%s: %s", path, strerror(errno));
}

static int exists(const char *path, struct error *error)
{
    return error_set(error, ERROR_BUSY, "%s: exists already (--force replaces it)", path);
}

int whole_flush(FILE *out, const char *path, struct error *error)
{
    return fflush(out) == 0 && !ferror(out) ? 0 : whole_fail(path, error);
}

/* "FOLDER/" or "./"; NULL where memory ran out. */
static char *folder_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? strndup(path, (size_t)(slash - path) + 1) : strdup("./");
}

int whole_sync_folder(const char *path, struct error *error)
{
    char *folder = folder_of(path);
    if (!folder) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", path);
    }
    int descriptor = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    int result = descriptor >= 0 && fsync(descriptor) == 0 ? 0 : whole_fail(folder, error);
    if (descriptor >= 0) {
        close(descriptor);
    }
    free(folder);
    return result;
}

/* A descriptor, or -1 with errno. */
static int open_part(struct whole *whole, struct error *error)
{
    char *folder = folder_of(whole->path);
    if (!folder || asprintf(&whole->part, "%s.XXXXXX", whole->path) < 0) {
        whole->part = NULL;
        free(folder);
        return error_set(error, ERROR_MEMORY, "%s: out of memory", whole->path);
    }
    int descriptor = open(folder, O_TMPFILE | O_RDWR | O_CLOEXEC, 0600);
    free(folder);
    if (descriptor >= 0) {
        free(whole->part);
        whole->part = NULL;
        return descriptor;
    }
    if (errno == EOPNOTSUPP || errno == EISDIR || errno == EINVAL) {
        descriptor = mkostemp(whole->part, O_CLOEXEC);
    }
    if (descriptor < 0) {
        (void)whole_fail(whole->path, error);
        free(whole->part);
        whole->part = NULL;
    }
    return descriptor;
}

int whole_open(struct whole *whole, const char *path, bool replace, struct error *error)
{
    struct stat there;
    bool is_there = stat(path, &there) == 0;
    *whole = (struct whole){.path = path, .replace = replace};
    whole->plain = !is_there || S_ISREG(there.st_mode) || S_ISDIR(there.st_mode);
    if (is_there && whole->plain && !replace) {
        return exists(path, error);
    }
    if (is_there && S_ISDIR(there.st_mode)) {
        return error_set(error, ERROR_IO, "%s: is a folder", path);
    }
    int descriptor = whole->plain ? open_part(whole, error) : open(path, O_WRONLY | O_CLOEXEC);
    if (descriptor < 0) {
        return whole->plain ? -1 : whole_fail(path, error);
    }
    whole->out = fdopen(descriptor, "w");
    if (!whole->out) {
        close(descriptor);
        whole_abandon(whole);
        return error_set(error, ERROR_MEMORY, "%s: out of memory", path);
    }
    return 0;
}

void whole_abandon(struct whole *whole)
{
    if (whole->out) {
        (void)fclose(whole->out);
        whole->out = NULL;
    }
    if (whole->part) {
        (void)unlink(whole->part);
        free(whole->part);
        whole->part = NULL;
    }
}

/* Under the name that was chosen for a part, so that a rename can replace what is there. */
static int link_part(struct whole *whole, const char *descriptor_path, struct error *error)
{
    if (asprintf(&whole->part, "%s.XXXXXX", whole->path) < 0) {
        whole->part = NULL;
        return error_set(error, ERROR_MEMORY, "%s: out of memory", whole->path);
    }
    for (int tries = 0; tries < 16; tries++) {
        memcpy(whole->part + strlen(whole->part) - 6, "XXXXXX", 6);
        int taken = mkostemp(whole->part, O_CLOEXEC);
        if (taken < 0) {
            break;
        }
        close(taken);
        (void)unlink(whole->part);
        if (linkat(AT_FDCWD, descriptor_path, AT_FDCWD, whole->part, AT_SYMLINK_FOLLOW) == 0) {
            return 0;
        }
    }
    (void)whole_fail(whole->path, error);
    free(whole->part);
    whole->part = NULL;
    return -1;
}

/* Gives the file its name: by a link where nothing may be replaced, else by a rename. */
static int give_name(struct whole *whole, struct error *error)
{
    char descriptor_path[DESCRIPTOR_PATH_SIZE];
    (void)snprintf(descriptor_path, sizeof descriptor_path, "/proc/self/fd/%d", fileno(whole->out));
    if (!whole->part && !whole->replace) {
        if (linkat(AT_FDCWD, descriptor_path, AT_FDCWD, whole->path, AT_SYMLINK_FOLLOW) == 0) {
            return 0;
        }
        return errno == EEXIST ? exists(whole->path, error) : whole_fail(whole->path, error);
    }
    if (!whole->part && link_part(whole, descriptor_path, error) != 0) {
        return -1;
    }
    unsigned flags = whole->replace ? 0 : RENAME_NOREPLACE;
    int renamed = renameat2(AT_FDCWD, whole->part, AT_FDCWD, whole->path, flags);
    if (renamed != 0) {
        return errno == EEXIST ? exists(whole->path, error) : whole_fail(whole->path, error);
    }
    free(whole->part);
    whole->part = NULL;
    return 0;
}

int whole_close(struct whole *whole, struct error *error)
{
    int result = whole_flush(whole->out, whole->path, error);
    if (result == 0 && whole->plain) {
        int descriptor = fileno(whole->out);
        if (fchmod(descriptor, 0644) != 0 || fsync(descriptor) != 0) {
            result = whole_fail(whole->path, error);
        }
        result = result == 0 ? give_name(whole, error) : result;
    }
    if (result != 0) {
        whole_abandon(whole);
        return -1;
    }
    result = fclose(whole->out) == 0 ? 0 : whole_fail(whole->path, error);
    whole->out = NULL;
    if (result == 0 && whole->plain) {
        result = whole_sync_folder(whole->path, error);
    }
    return result;
}
