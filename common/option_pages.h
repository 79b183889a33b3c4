/* One table of options, three pages: the help on a terminal, the manual page, the shell's
 * completion. Must never know more of a program than its tables say. Used by both programs. */
#ifndef ROOMWAKE_COMMON_OPTION_PAGES_H
#define ROOMWAKE_COMMON_OPTION_PAGES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>

struct option_spec {
    const char *name;  /* "site": written --site */
    const char *value; /* "FILE", or NULL for a switch */
    bool required;
    const char *help;
};

/* A program, or one of its commands. */
struct option_page {
    const char *name;                  /* "record"; NULL: the program itself, it has no commands */
    const char *positional;            /* "NIGHT", or NULL */
    const char *summary;               /* without a full stop */
    const struct option_spec *options; /* ends with {0} */
};

/* `program` is "roomwake"; pages point to tables that outlive the call. */
void option_pages_help(const char *program, const struct option_page *page, FILE *out);
/* man(7); `summary` is the program's own line. */
void option_pages_manual(const char *program, const char *summary, const struct option_page *pages,
                         size_t count, FILE *out);
/* For bash: commands, options, and files where an option's value is one. */
void option_pages_completion(const char *program, const struct option_page *pages, size_t count,
                             FILE *out);

#endif
