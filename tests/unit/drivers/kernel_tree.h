/* A folder laid out as the kernel documents its own, for the drivers that read those.
 * Must never touch the real /sys. Included by the tests of this folder. */
#ifndef ROOMWAKE_TESTS_UNIT_DRIVERS_KERNEL_TREE_H
#define ROOMWAKE_TESTS_UNIT_DRIVERS_KERNEL_TREE_H

#include "tests/unit/test.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char tree_root[256];

static inline void tree_begin(void)
{
    snprintf(tree_root, sizeof tree_root, "%s/roomwake-tree-XXXXXX",
             getenv("TMPDIR") ? getenv("TMPDIR") : "/tmp");
    assert_non_null(mkdtemp(tree_root));
}

static inline int tree_end(void)
{
    char command[300];
    snprintf(command, sizeof command, "rm -rf '%s'", tree_root);
    return system(command);
}

/* Whole or not at all: it is renamed into its place. */
static inline void tree_put(const char *name, const char *text)
{
    char path[512];
    char fresh[520];
    snprintf(path, sizeof path, "%s/%s", tree_root, name);
    for (char *slash = path + strlen(tree_root) + 1; (slash = strchr(slash, '/')); slash++) {
        *slash = '\0';
        (void)mkdir(path, 0700);
        *slash = '/';
    }
    snprintf(fresh, sizeof fresh, "%s.new", path);
    FILE *file = fopen(fresh, "w");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
    assert_int_equal(rename(fresh, path), 0);
}

static inline void tree_remove(const char *name)
{
    char path[512];
    snprintf(path, sizeof path, "%s/%s", tree_root, name);
    assert_int_equal(unlink(path), 0);
}

/* The file begins with this: the driver wrote it. */
static inline void tree_has(const char *name, const char *text)
{
    char path[512], held[64] = "";
    snprintf(path, sizeof path, "%s/%s", tree_root, name);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    assert_non_null(fgets(held, sizeof held, file));
    fclose(file);
    if (strncmp(held, text, strlen(text)) != 0) {
        fail_msg("%s: \"%s\", expected \"%s\"", name, held, text);
    }
}

#endif
