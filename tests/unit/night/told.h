/* What a night's writer has told, and whether it was on disk by then: every sync of the program
 * comes here first, and may be made to fail. Must never be included by product code, nor twice. */
#ifndef ROOMWAKE_TESTS_UNIT_NIGHT_TOLD_H
#define ROOMWAKE_TESTS_UNIT_NIGHT_TOLD_H

#include "tests/unit/night/fixture.h"

#include <errno.h>
#include <stdatomic.h>
#include <sys/syscall.h>
#include <uv.h>

/* SQLite's calls of these come here first. */
static atomic_int syncs;
static atomic_bool syncs_fail;

int fsync(int descriptor)
{
    atomic_fetch_add(&syncs, 1);
    if (atomic_load(&syncs_fail)) {
        errno = EIO;
        return -1;
    }
    return (int)syscall(SYS_fsync, descriptor);
}

int fdatasync(int descriptor)
{
    return fsync(descriptor);
}

struct told {
    const struct fixture *fixture;
    uv_mutex_t lock;
    uint64_t frames;
    uint64_t not_on_disk; /* told, but a second connection did not see it */
    uint64_t not_synced;  /* told without a sync since the last time */
    int syncs_before;
    uint64_t failures;
    struct error failure;
};

static inline void told_init(struct told *told, const struct fixture *fixture)
{
    *told = (struct told){.fixture = fixture};
    assert_int_equal(uv_mutex_init(&told->lock), 0);
}

static inline void on_committed(void *context, const struct night_frame_id *frames, size_t count,
                                const struct error *failure)
{
    struct told *told = context;
    uv_mutex_lock(&told->lock);
    told->frames += count;
    told->not_synced += count > 0 && atomic_load(&syncs) == told->syncs_before;
    told->syncs_before = atomic_load(&syncs);
    if (failure) {
        told->failures++;
        told->failure = *failure;
        assert_int_equal(count, 0);
    }
    uv_mutex_unlock(&told->lock);
    for (size_t i = 0; i < count && told->fixture; i++) {
        char sql[160];
        (void)snprintf(sql, sizeof sql,
                       "SELECT count(*) FROM frame JOIN boot ON boot.id=frame.boot"
                       " WHERE node=%u AND seq=%llu",
                       frames[i].node, (unsigned long long)frames[i].seq);
        told->not_on_disk += fixture_query(told->fixture, sql) != 1;
    }
}

static inline uint64_t told_frames(struct told *told)
{
    uv_mutex_lock(&told->lock);
    uint64_t frames = told->frames;
    uv_mutex_unlock(&told->lock);
    return frames;
}

#endif
