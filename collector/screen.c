/* Findings as lines on the terminal.
 * Must never decide anything. Called by cmd_record.c, cmd_import.c and cmd_reanalyse.c. */
#include "collector/screen.h"

#include <stdio.h>

#include "collector/night/seal.h"

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

void screen_print_clean(const char *text)
{
    for (const char *c = text; *c; c++) {
        (void)putchar((unsigned char)*c < ' ' || *c == 0x7f ? ' ' : *c);
    }
}

void screen_print_key(const char *head, const uint8_t key[32])
{
    printf("%-9s ", head);
    for (size_t i = 0; i < 32; i++) {
        printf("%02x", key[i]);
    }
    (void)putchar('\n');
}

void screen_print_root(const char *head, const uint8_t root[32])
{
    char aloud[SEAL_ALOUD_SIZE];
    seal_aloud(root, aloud);
    screen_print_key(head, root);
    printf("%-9s %s\n", "", aloud);
}
