/* Findings as lines on the terminal.
 * Must never decide anything. Called by cmd_record.c, cmd_import.c and cmd_reanalyse.c. */
#include "collector/screen.h"

#include <stdio.h>

static void print_line(const char *head, const char *line)
{
    printf("%-9s %s\n", head, line);
    (void)fflush(stdout);
}

static void on_told(void *context, const struct coincidence *coincidence, const char *line)
{
    (void)context;
    (void)coincidence;
    print_line("finding", line);
}

static void on_alert(void *context, const struct alert *alert)
{
    (void)context;
    print_line("ALERT", alert->line);
}

static void on_withdrawn(void *context, const struct coincidence *coincidence, const char *line)
{
    (void)context;
    (void)coincidence;
    print_line("explained", line);
}

struct findings_hooks screen_hooks(void)
{
    return (struct findings_hooks){.told = on_told, .alert = on_alert, .withdrawn = on_withdrawn};
}

static void print_count(unsigned long long count, const char *one, const char *many)
{
    printf("%llu %s", count, count == 1 ? one : many);
}

void screen_print_counts(const struct findings_counts *counts)
{
    print_count(counts->disturbances, "disturbance, ", "disturbances, ");
    print_count(counts->coincidences, "coincidence, ", "coincidences, ");
    print_count(counts->alerts, "alert\n", "alerts\n");
}
