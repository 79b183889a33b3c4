/* Ctrl-C as a flag.
 * Must never do more in the handler than set it. Called by cmd_export.c and cmd_report.c. */
#include "collector/stop_signal.h"

#include <stddef.h>

static volatile sig_atomic_t asked;

static void on_signal(int number)
{
    (void)number;
    asked = 1;
}

const volatile sig_atomic_t *stop_signal_watch(void)
{
    static const int numbers[] = {SIGINT, SIGTERM, SIGHUP};
    struct sigaction action = {.sa_handler = on_signal,
                               .sa_flags = (int)(SA_RESETHAND | (unsigned)SA_RESTART)};
    (void)sigemptyset(&action.sa_mask);
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        (void)sigaction(numbers[i], &action, NULL);
    }
    return &asked;
}
