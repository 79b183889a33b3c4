/* Lines to standard error and, if set, to one more sink.
 * Must never allocate, wait or let a control character through.
 * Called from everywhere but the pure modules. */
#include "common/log.h"

#include <errno.h>
#include <poll.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#define LINE_SIZE 1024
#define CUT_MARK "..."

/* The one place with state of its own: a log that had to be handed down would reach everywhere.
 * Set at the start of main, read only afterwards. */
static struct {
    const char *program;
    enum log_level level;
    log_sink sink;
    void *context;
} settings = {.program = "roomwake", .level = LOG_LEVEL_INFO};

void log_set_program(const char *program)
{
    settings.program = program;
}

void log_set_level(enum log_level level)
{
    settings.level = level;
}

void log_set_sink(log_sink sink, void *context)
{
    settings.sink = sink;
    settings.context = context;
}

/* Control characters, also the two-byte ones of UTF-8 (U+0080 to U+009F), become spaces: a name
 * from outside must not be able to move a terminal's cursor or start a line of its own. */
static void blank_controls(char *line)
{
    for (unsigned char *at = (unsigned char *)line; *at; at++) {
        if (*at < 0x20 || *at == 0x7f) {
            *at = ' ';
        } else if (*at == 0xc2 && at[1] >= 0x80 && at[1] <= 0x9f) {
            at[0] = ' ';
            at[1] = ' ';
        }
    }
}

bool log_would_wait(int descriptor)
{
    struct pollfd screen = {.fd = descriptor, .events = POLLOUT};
    return poll(&screen, 1, 0) == 0;
}

/* One write, so that lines of several threads or programs never mix. */
static void write_standard_error(const char *line)
{
    static unsigned _Atomic left_out;
    char whole[LINE_SIZE + 64];
    if (log_would_wait(STDERR_FILENO)) {
        left_out++;
        return;
    }
    unsigned missing = atomic_exchange(&left_out, 0);
    if (missing > 0) {
        (void)dprintf(STDERR_FILENO, "%.48s: %u lines before this were left out\n",
                      settings.program, missing);
    }
    int length = snprintf(whole, sizeof whole - 1, "%.48s: %s", settings.program, line);
    if (length < 0) {
        return;
    }
    size_t used = (size_t)length < sizeof whole - 2 ? (size_t)length : sizeof whole - 2;
    whole[used++] = '\n';
    while (write(STDERR_FILENO, whole, used) < 0 && errno == EINTR) {
    }
}

static void log_line(enum log_level level, const char *format, va_list arguments)
{
    if (level > settings.level) {
        return;
    }
    char line[LINE_SIZE];
    /* The analyser does not see that all four callers have started the list. */
    int length = vsnprintf(line, sizeof line, format, arguments); // NOLINT(*-valist.Uninitialized)
    if (length < 0) {
        return;
    }
    if ((size_t)length >= sizeof line) {
        memcpy(line + sizeof line - sizeof CUT_MARK, CUT_MARK, sizeof CUT_MARK);
    }
    blank_controls(line);
    write_standard_error(line);
    if (settings.sink) {
        settings.sink(settings.context, level, line);
    }
}

void log_error(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    log_line(LOG_LEVEL_ERROR, format, arguments);
    va_end(arguments);
}

void log_warning(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    log_line(LOG_LEVEL_WARNING, format, arguments);
    va_end(arguments);
}

void log_info(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    log_line(LOG_LEVEL_INFO, format, arguments);
    va_end(arguments);
}

void log_debug(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    log_line(LOG_LEVEL_DEBUG, format, arguments);
    va_end(arguments);
}
