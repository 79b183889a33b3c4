/* What the programs say about themselves: a level, a line, one sink.
 * Must never read settings, allocate or wait. Called from everywhere but the pure modules. */
#ifndef ROOMWAKE_COMMON_LOG_H
#define ROOMWAKE_COMMON_LOG_H

#include <stdbool.h>

enum log_level { LOG_LEVEL_ERROR, LOG_LEVEL_WARNING, LOG_LEVEL_INFO, LOG_LEVEL_DEBUG };

/* A sink gets one line without a newline; `context` is the caller's own. Called on any thread. */
typedef void (*log_sink)(void *context, enum log_level level, const char *line);

/* The default sink writes "PROGRAM: line" to standard error. `program` must live for ever. */
void log_set_program(const char *program);
void log_set_level(enum log_level level);
/* Whether a line to this descriptor would wait for somebody: a terminal that was stopped (Ctrl-S),
 * a link that stands, a full pipe. Lines that would are left out of standard error, and counted
 * there once it takes some again. */
bool log_would_wait(int descriptor);
/* Adds to the default sink; NULL takes the extra sink away. Set before threads start. */
void log_set_sink(log_sink sink, void *context);

void log_error(const char *format, ...) __attribute__((format(printf, 1, 2)));
void log_warning(const char *format, ...) __attribute__((format(printf, 1, 2)));
void log_info(const char *format, ...) __attribute__((format(printf, 1, 2)));
void log_debug(const char *format, ...) __attribute__((format(printf, 1, 2)));

#endif
