/* A mapped file and a count that is odd while it is written.
 * Must never give a reader a time before the one that it had. Called by clock.c. */
#include "common/clock_page.h"

#include <errno.h>
#include <fcntl.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

#include "common/clock.h"

#define PAGE_MARK INT64_C(0x726f6f6d77616b65)

struct clock_page {
    int64_t mark;
    int64_t hurry;
    int64_t real_less_mono_ns;
    atomic_uint_fast64_t turn; /* odd: being written */
    atomic_int_fast64_t base_ns;
    atomic_int_fast64_t base_machine_ns; /* the machine's clock when this one stood at base_ns */
    atomic_int_fast64_t limit_ns;
};

static int64_t machine_ns(void)
{
    const struct clock_source machine = clock_system();
    return machine.mono_ns(machine.context);
}

static int map(const char *path, int flags, int protection, void **page, struct error *error)
{
    struct stat about;
    int file = open(path, flags | O_CLOEXEC, 0600);
    if (file < 0) {
        return error_set(error, ERROR_IO, "clock page: %s: %s", path, strerror(errno));
    }
    bool writes = (protection & PROT_WRITE) != 0;
    if ((writes && ftruncate(file, sizeof(struct clock_page))) || fstat(file, &about) ||
        about.st_size != sizeof(struct clock_page)) {
        close(file);
        return error_set(error, ERROR_FORMAT, "clock page: %s: not a clock's page", path);
    }
    *page = mmap(NULL, sizeof(struct clock_page), protection, MAP_SHARED, file, 0);
    close(file);
    if (*page == MAP_FAILED) {
        return error_set(error, ERROR_IO, "clock page: %s: %s", path, strerror(errno));
    }
    return 0;
}

int clock_page_make(const char *path, int hurry, struct clock_page **out, struct error *error)
{
    void *mapped;
    if (hurry < 1 || hurry > CLOCK_PAGE_HURRY_MOST) {
        return error_set(error, ERROR_RANGE, "clock page: not 1 to %d times as fast",
                         CLOCK_PAGE_HURRY_MOST);
    }
    if (map(path, O_RDWR | O_CREAT | O_EXCL, PROT_READ | PROT_WRITE, &mapped, error)) {
        return -1;
    }
    const struct clock_source machine = clock_system();
    struct clock_page *page = mapped;
    int64_t now_ns = machine_ns();
    page->hurry = hurry;
    page->real_less_mono_ns = machine.real_ns(machine.context) - now_ns;
    atomic_init(&page->turn, 0);
    atomic_init(&page->base_ns, now_ns);
    atomic_init(&page->base_machine_ns, now_ns);
    atomic_init(&page->limit_ns, now_ns);
    page->mark = PAGE_MARK;
    *out = page;
    return 0;
}

int clock_page_open(const char *path, const struct clock_page **page, struct error *error)
{
    void *mapped;
    if (map(path, O_RDONLY, PROT_READ, &mapped, error)) {
        return -1;
    }
    *page = mapped;
    if ((*page)->mark != PAGE_MARK || (*page)->hurry < 1 ||
        (*page)->hurry > CLOCK_PAGE_HURRY_MOST) {
        munmap(mapped, sizeof **page);
        *page = NULL;
        return error_set(error, ERROR_FORMAT, "clock page: %s: not a clock's page", path);
    }
    return 0;
}

static int64_t run_to(int64_t base_ns, int64_t base_machine_ns, int64_t limit_ns, int64_t hurry)
{
    int64_t ran_ns = (machine_ns() - base_machine_ns) * hurry;
    return ran_ns < limit_ns - base_ns ? base_ns + ran_ns : limit_ns;
}

int64_t clock_page_mono_ns(const struct clock_page *page)
{
    for (;;) {
        uint_fast64_t turn = atomic_load_explicit(&page->turn, memory_order_acquire);
        int64_t base_ns = atomic_load_explicit(&page->base_ns, memory_order_relaxed);
        int64_t machine = atomic_load_explicit(&page->base_machine_ns, memory_order_relaxed);
        int64_t limit_ns = atomic_load_explicit(&page->limit_ns, memory_order_relaxed);
        int64_t now_ns = run_to(base_ns, machine, limit_ns, page->hurry);
        atomic_thread_fence(memory_order_acquire);
        if (turn % 2 == 0 && atomic_load_explicit(&page->turn, memory_order_relaxed) == turn) {
            return now_ns;
        }
    }
}

int64_t clock_page_real_ns(const struct clock_page *page)
{
    return clock_page_mono_ns(page) + page->real_less_mono_ns;
}

int clock_page_hurry(const struct clock_page *page)
{
    return (int)page->hurry;
}

void clock_page_allow(struct clock_page *page, int64_t limit_ns)
{
    int64_t old_ns = atomic_load_explicit(&page->limit_ns, memory_order_relaxed);
    uint_fast64_t turn = atomic_load_explicit(&page->turn, memory_order_relaxed);
    atomic_store_explicit(&page->turn, turn + 1, memory_order_relaxed);
    atomic_thread_fence(memory_order_release);
    /* From where it stands: what it waited at the old limit is not made up for. */
    int64_t machine = machine_ns();
    int64_t base_ns = atomic_load_explicit(&page->base_ns, memory_order_relaxed);
    int64_t since_ns =
        (machine - atomic_load_explicit(&page->base_machine_ns, memory_order_relaxed)) *
        page->hurry;
    int64_t now_ns = since_ns < old_ns - base_ns ? base_ns + since_ns : old_ns;
    atomic_store_explicit(&page->base_ns, now_ns, memory_order_relaxed);
    atomic_store_explicit(&page->base_machine_ns, machine, memory_order_relaxed);
    atomic_store_explicit(&page->limit_ns, limit_ns > old_ns ? limit_ns : old_ns,
                          memory_order_relaxed);
    atomic_store_explicit(&page->turn, turn + 2, memory_order_release);
}
