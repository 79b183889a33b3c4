/* Makes the n-th allocation fail: for test programs of one source file that the linker wraps
 * (see tests/CMakeLists.txt). Must never be included by product code. */
#ifndef ROOMWAKE_TESTS_UNIT_FAULT_FAULT_H
#define ROOMWAKE_TESTS_UNIT_FAULT_FAULT_H

#include "tests/unit/test.h"

#include <cjson/cJSON.h>
#include <limits.h>
#include <stdatomic.h>

#include "common/error.h"

#define FAULT_RUNS_MAX 1000000

/* The linker leads every call of ours to the __wrap_ ones; libraries keep the real ones. */
void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *memory, size_t size);
char *__real_strdup(const char *text);
char *__real_strndup(const char *text, size_t length);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *memory, size_t size);
char *__wrap_strdup(const char *text);
char *__wrap_strndup(const char *text, size_t length);
int __wrap_asprintf(char **out, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* The writer has a thread of its own. */
static atomic_long fault_calls;
static atomic_long fault_at; /* 0: none fails */
static atomic_bool fault_stays;

static bool fault_strikes(void)
{
    long at = atomic_load(&fault_at);
    if (at == 0) {
        return false;
    }
    long call = atomic_fetch_add(&fault_calls, 1) + 1;
    return call == at || (call > at && atomic_load(&fault_stays));
}

void *__wrap_malloc(size_t size)
{
    return fault_strikes() ? NULL : __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    return fault_strikes() ? NULL : __real_calloc(count, size);
}

void *__wrap_realloc(void *memory, size_t size)
{
    return fault_strikes() ? NULL : __real_realloc(memory, size);
}

char *__wrap_strdup(const char *text)
{
    return fault_strikes() ? NULL : __real_strdup(text);
}

char *__wrap_strndup(const char *text, size_t length)
{
    return fault_strikes() ? NULL : __real_strndup(text, length);
}

int __wrap_asprintf(char **out, const char *format, ...)
{
    va_list arguments;
    *out = NULL;
    if (fault_strikes()) {
        return -1;
    }
    va_start(arguments, format);
    int length = vasprintf(out, format, arguments);
    va_end(arguments);
    return length;
}

/* Called by a body that ended well, before it looks at what it made: no more fails. */
static inline void fault_over(void)
{
    atomic_store(&fault_at, 0);
}

/* Runs `body` with the first, the second ... allocation failing, until it ends before one fails.
 * `stays`: all later ones fail as well. The body returns -1 with the error of what failed, or 0
 * where all was as it should be, and frees whatever it got. A crash or a leak is the sanitizers' to
 * tell. */
typedef int (*fault_body)(void *context, struct error *error);

static void fault_run(fault_body body, void *context, bool stays, long divisor)
{
    cJSON_Hooks hooks = {__wrap_malloc, free};
    cJSON_InitHooks(&hooks);
    for (long n = 1; n < FAULT_RUNS_MAX; n += 1 + n / divisor) {
        struct error error = {0};
        atomic_store(&fault_calls, 0);
        atomic_store(&fault_stays, stays);
        atomic_store(&fault_at, n);
        int result = body(context, &error);
        atomic_store(&fault_at, 0);
        if (result != 0 && (error.code != ERROR_MEMORY || error.text[0] == '\0')) {
            fail_msg("allocation %ld: error %d \"%s\"", n, (int)error.code, error.text);
        }
        if (atomic_load(&fault_calls) < n) {
            assert_int_equal(result, 0);
            cJSON_InitHooks(NULL);
            return;
        }
    }
    fail_msg("never ran to its end");
}

/* Both ways: one allocation, and that one with all that follow. */
static inline void fault_each(fault_body body, void *context)
{
    fault_run(body, context, false, LONG_MAX);
    fault_run(body, context, true, LONG_MAX);
}

/* Where there are too many for each: the first `divisor`, then ever fewer. */
static inline void fault_some(fault_body body, void *context, long divisor)
{
    fault_run(body, context, false, divisor);
    fault_run(body, context, true, divisor);
}

#endif
