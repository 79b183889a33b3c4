/* A spool in a folder of its own, filled with frames that can be told apart.
 * Must never leave its folders behind. Included by the tests of the spool. */
#ifndef ROOMWAKE_TESTS_UNIT_NODE_SPOOL_FOR_TESTS_H
#define ROOMWAKE_TESTS_UNIT_NODE_SPOOL_FOR_TESTS_H

#include "tests/unit/test.h"

#include <dirent.h>
#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "common/wire.h"
#include "node/spool.h"

static char folder[256];
static uint8_t buffer[WIRE_MESSAGE_MAX];

static inline size_t length_of(uint64_t seq)
{
    return 20 + (size_t)(seq * 37 % 60);
}

static inline void append(struct spool *spool, uint64_t boot, uint64_t seq)
{
    uint8_t bytes[128];
    memset(bytes, (int)(boot + seq), sizeof bytes);
    spool_append(spool, boot, seq, bytes, length_of(seq));
}

static inline void append_many(struct spool *spool, uint64_t boot, uint64_t from, uint64_t to)
{
    for (uint64_t seq = from; seq <= to; seq++) {
        append(spool, boot, seq);
    }
}

static inline struct spool *open_spool(uint64_t max_bytes)
{
    struct spool *spool;
    struct error error;
    if (spool_open(folder, max_bytes, &spool, &error)) {
        fail_msg("%s", error.text);
    }
    return spool;
}

static inline void expect_frame(struct spool *spool, uint64_t ordinal, uint64_t boot, uint64_t seq)
{
    struct spool_frame frame;
    struct error error;
    if (spool_read(spool, ordinal, buffer, sizeof buffer, &frame, &error)) {
        fail_msg("ordinal %llu: %s", (unsigned long long)ordinal, error.text);
    }
    assert_int_equal(frame.boot, boot);
    assert_int_equal(frame.seq, seq);
    assert_int_equal(frame.length, length_of(seq));
    assert_int_equal(buffer[0], (uint8_t)(boot + seq));
    assert_int_equal(buffer[frame.length - 1], (uint8_t)(boot + seq));
}

/* All that is held is of `boot`, from seq `from` to `to`. */
static inline void expect_run(struct spool *spool, uint64_t boot, uint64_t from, uint64_t to)
{
    assert_int_equal(spool_end(spool) - spool_first(spool), to + 1 - from);
    for (uint64_t seq = from; seq <= to; seq++) {
        expect_frame(spool, spool_first(spool) + (seq - from), boot, seq);
    }
}

static inline void clear_folder(void)
{
    DIR *dir = opendir(folder);
    const struct dirent *entry;
    while (dir && (entry = readdir(dir)) != NULL) {
        unlinkat(dirfd(dir), entry->d_name, 0);
    }
    closedir(dir);
}

static inline int set_up(void **state)
{
    (void)state;
    const char *root = getenv("TMPDIR");
    snprintf(folder, sizeof folder, "%s/spool-XXXXXX", root ? root : "/tmp");
    return mkdtemp(folder) ? 0 : -1;
}

static inline int tear_down(void **state)
{
    (void)state;
    clear_folder();
    return rmdir(folder);
}

#endif
