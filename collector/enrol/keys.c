/* A site's keys on disk.
 * Must never be written where others can read them, not even for a moment. Called by enrol. */
#include "collector/enrol/keys.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "common/private_file.h"
#include "common/small_file.h"

#define IN_HOME "/.local/share/roomwake/sites"
#define LOCK_NAME "lock"
#define FILE_MAX ((size_t)1024 * 1024)

static int fail(const char *path, struct error *error)
{
    return error_set(error, errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "%s: %s", path,
                     strerror(errno));
}

static int make_folders(char *path, struct error *error)
{
    for (char *slash = strchr(path + 1, '/'); slash; slash = strchr(slash + 1, '/')) {
        *slash = '\0';
        int failed = mkdir(path, 0700) != 0 && errno != EEXIST ? fail(path, error) : 0;
        *slash = '/';
        if (failed != 0) {
            return -1;
        }
    }
    return mkdir(path, 0700) != 0 && errno != EEXIST ? fail(path, error) : 0;
}

static int check_folder(const char *path, struct error *error)
{
    struct stat status;
    if (lstat(path, &status) != 0) {
        return fail(path, error);
    }
    if (!S_ISDIR(status.st_mode) || status.st_uid != geteuid() || (status.st_mode & 077) != 0) {
        return error_set(error, ERROR_STATE,
                         "%s: holds the site's keys, so it must be a folder of this user's own "
                         "that nobody else may enter (chmod 700)",
                         path);
    }
    return 0;
}

static int find_folder(const char *site, char **folder, struct error *error)
{
    const char *given = getenv("ROOMWAKE_KEYS");
    const char *home = getenv("HOME");
    int made = -1;
    if (given && *given) {
        made = asprintf(folder, "%s/%s", given, site);
    } else if (home && *home) {
        made = asprintf(folder, "%s" IN_HOME "/%s", home, site);
    } else {
        return error_set(error, ERROR_NOT_FOUND,
                         "no place for the site's keys: neither ROOMWAKE_KEYS nor HOME is set");
    }
    if (made < 0) {
        *folder = NULL;
        return error_set(error, ERROR_MEMORY, "keys: out of memory");
    }
    return 0;
}

char *keys_path(const struct keys *keys, const char *name)
{
    char *path = NULL;
    return asprintf(&path, "%s/%s", keys->folder, name) < 0 ? NULL : path;
}

static int take_lock(struct keys *keys, struct error *error)
{
    char *path = keys_path(keys, LOCK_NAME);
    if (!path) {
        return error_set(error, ERROR_MEMORY, "keys: out of memory");
    }
    keys->lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0600);
    int result = keys->lock < 0 || flock(keys->lock, LOCK_EX) != 0 ? fail(path, error) : 0;
    free(path);
    return result;
}

int keys_open(struct keys *keys, const char *site, struct error *error)
{
    keys->folder = NULL;
    keys->lock = -1;
    if (find_folder(site, &keys->folder, error) != 0 || make_folders(keys->folder, error) != 0 ||
        check_folder(keys->folder, error) != 0 || take_lock(keys, error) != 0) {
        keys_close(keys);
        return -1;
    }
    return 0;
}

void keys_close(struct keys *keys)
{
    if (keys->lock >= 0) {
        (void)close(keys->lock);
    }
    free(keys->folder);
    keys->folder = NULL;
    keys->lock = -1;
}

int keys_read(const struct keys *keys, const char *name, struct text *text, struct error *error)
{
    memset(text, 0, sizeof *text);
    char *path = keys_path(keys, name);
    if (!path) {
        return error_set(error, ERROR_MEMORY, "keys: out of memory");
    }
    int result = small_file_read(path, FILE_MAX, &text->bytes, &text->length, error);
    if (result == 0 && text->length == 0) {
        result = error_set(error, ERROR_FORMAT, "%s: is empty", path);
    }
    text->size = text->length + 1;
    if (result != 0) {
        text_free(text);
    }
    free(path);
    return result;
}

int keys_write(const struct keys *keys, const char *name, const char *bytes, size_t length,
               struct error *error)
{
    char *path = keys_path(keys, name);
    int result = path ? private_file_write(path, bytes, length, true, error)
                      : error_set(error, ERROR_MEMORY, "keys: out of memory");
    free(path);
    return result;
}
