/* A clock in a file, for tests: a simulation says how far time has come, and all programs that read
 * the page live in that time, faster than the machine's or, where the simulation falls behind,
 * slower. Must never run past what the simulation allows. Used by clock.c and by tests/board. */
#ifndef ROOMWAKE_COMMON_CLOCK_PAGE_H
#define ROOMWAKE_COMMON_CLOCK_PAGE_H

#include <stdint.h>

#include "common/error.h"

struct clock_page;

#define CLOCK_PAGE_HURRY_MOST 64

/* The simulation's side: makes the file; its clock stands at the machine's own now. hurry: how many
 * times as fast as the machine's it may run, 1 to CLOCK_PAGE_HURRY_MOST. */
int clock_page_make(const char *path, int hurry, struct clock_page **page, struct error *error);
/* Lets it run on to limit_ns, where it waits. One writer. */
void clock_page_allow(struct clock_page *page, int64_t limit_ns);

/* The others'. The page stays mapped until the process ends. */
int clock_page_open(const char *path, const struct clock_page **page, struct error *error);
int64_t clock_page_mono_ns(const struct clock_page *page);
int64_t clock_page_real_ns(const struct clock_page *page);
int clock_page_hurry(const struct clock_page *page);

#endif
