/* A file of secrets, whole or not at all.
 * Must never be readable by others, not even for a moment. Called by enrolment and node/join.c. */
#include "common/private_file.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int fail(const char *path, struct error *error)
{
    return error_set(error, ERROR_IO, "%s: %s", path, strerror(errno));
}

static int put_in_place(const char *aside, const char *path, bool may_replace, struct error *error)
{
    if (may_replace) {
        return rename(aside, path) != 0 ? fail(path, error) : 0;
    }
    if (link(aside, path) == 0) {
        return 0;
    }
    return errno == EEXIST ? error_set(error, ERROR_BUSY, "%s: is there already", path)
                           : fail(path, error);
}

int private_file_write(const char *path, const char *bytes, size_t length, bool may_replace,
                       struct error *error)
{
    char *aside = NULL;
    if (asprintf(&aside, "%s.XXXXXX", path) < 0) {
        return error_set(error, ERROR_MEMORY, "file: out of memory");
    }
    int descriptor = mkstemp(aside); /* mode 0600 */
    int result = 0;
    if (descriptor < 0 || write(descriptor, bytes, length) != (ssize_t)length ||
        fsync(descriptor) != 0) {
        result = fail(path, error);
    } else {
        result = put_in_place(aside, path, may_replace, error);
    }
    if (descriptor >= 0) {
        (void)close(descriptor);
        (void)unlink(aside);
    }
    free(aside);
    return result;
}
