/* Ctrl-C (and SIGTERM, SIGHUP) as a flag, for commands that must tidy up before they end.
 * Must never do more in the handler than set it. Used by cmd_export.c and cmd_report.c. */
#ifndef ROOMWAKE_COLLECTOR_STOP_SIGNAL_H
#define ROOMWAKE_COLLECTOR_STOP_SIGNAL_H

#include <signal.h>

/* Not 0 once the user asked to stop. The second signal ends the program at once. */
const volatile sig_atomic_t *stop_signal_watch(void);

#endif
