/* The site file of `roomwake plan`.
 * Must never leave half a file: it is written beside itself, synced and renamed. Called by page.c
 * and, through it, by the page. */
#include "collector/record/page_plan.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "common/site.h"

int page_plan_load(void *context, struct text *out, struct error *error)
{
    const char *path = context;
    struct site *site = NULL;
    char *bytes = NULL;
    if (access(path, F_OK) != 0 && errno == ENOENT) {
        (void)text_append(out, "null", 4);
        return 0;
    }
    if (site_load(path, &site, &bytes, error) != 0) {
        return -1;
    }
    site_free(site);
    int result = text_append(out, bytes, strlen(bytes));
    free(bytes);
    return result == 0 ? 0 : error_set(error, ERROR_MEMORY, "plan: out of memory");
}

static int write_all(int descriptor, const char *bytes, size_t length)
{
    while (length > 0) {
        ssize_t written = write(descriptor, bytes, length);
        if (written < 0 && errno != EINTR) {
            return -1;
        }
        bytes += written > 0 ? written : 0;
        length -= written > 0 ? (size_t)written : 0;
    }
    return fsync(descriptor);
}

static int keep(const char *path, const char *bytes, size_t length, struct error *error)
{
    char beside[PATH_MAX];
    if (snprintf(beside, sizeof beside, "%s.new", path) >= (int)sizeof beside) {
        return error_set(error, ERROR_RANGE, "%s: too long a path", path);
    }
    int descriptor = open(beside, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
    if (descriptor < 0) {
        return error_set(error, ERROR_IO, "%s: %s", beside, strerror(errno));
    }
    bool bad = write_all(descriptor, bytes, length) != 0;
    bad = close(descriptor) != 0 || bad;
    if (bad || rename(beside, path) != 0) {
        int why = errno;
        (void)unlink(beside);
        return error_set(error, ERROR_IO, "%s: %s", path, strerror(why));
    }
    return 0;
}

int page_plan_save(void *context, const char *bytes, size_t length, bool check_only,
                   struct error *error)
{
    struct site *site = NULL;
    if (site_parse(bytes, length, "plan", &site, error) != 0) {
        return -1;
    }
    site_free(site);
    return check_only ? 0 : keep(context, bytes, length, error);
}
