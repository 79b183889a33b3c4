/* Help, manual page and completion from the tables of options.
 * Must never say what --help does not say. Called by both programs' main.c. */
#include "common/option_pages.h"

#include <string.h>

static const struct option_spec help_option = {"help", NULL, false, "say this"};

static void print_usage(const char *program, const struct option_page *page, FILE *out)
{
    fprintf(out, "%s%s%s", program, page->name ? " " : "", page->name ? page->name : "");
    if (page->positional) {
        fprintf(out, " %s", page->positional);
    }
    for (const struct option_spec *spec = page->options; spec->name; spec++) {
        fprintf(out, spec->required ? " --%s%s%s" : " [--%s%s%s]", spec->name,
                spec->value ? " " : "", spec->value ? spec->value : "");
    }
}

static void print_option(const struct option_spec *spec, FILE *out)
{
    char left[48];
    (void)snprintf(left, sizeof left, "--%s%s%s", spec->name, spec->value ? " " : "",
                   spec->value ? spec->value : "");
    fprintf(out, "  %-24s %s\n", left, spec->help);
}

void option_pages_help(const char *program, const struct option_page *page, FILE *out)
{
    fprintf(out, "usage: ");
    print_usage(program, page, out);
    fprintf(out, "\n\n%s\n\n", page->summary);
    for (const struct option_spec *spec = page->options; spec->name; spec++) {
        print_option(spec, out);
    }
    print_option(&help_option, out);
}

/* man(7): a hyphen that is typed is "\-"; a line must not begin with a dot or an apostrophe. */
static void print_roff(const char *text, FILE *out)
{
    if (*text == '.' || *text == '\'') {
        fputs("\\&", out);
    }
    for (const char *c = text; *c; c++) {
        if (*c == '-') {
            fputs("\\-", out);
        } else if (*c == '\\') {
            fputs("\\e", out);
        } else {
            fputc(*c, out);
        }
    }
}

static void print_manual_option(const struct option_spec *spec, FILE *out)
{
    fputs(".TP\n\\fB\\-\\-", out);
    print_roff(spec->name, out);
    fputs("\\fR", out);
    if (spec->value) {
        fputs(" \\fI", out);
        print_roff(spec->value, out);
        fputs("\\fR", out);
    }
    fputs("\n", out);
    print_roff(spec->help, out);
    fputs("\n", out);
}

static void print_manual_page(const char *program, const struct option_page *page, FILE *out)
{
    fprintf(out, ".SS ");
    print_roff(page->name ? page->name : program, out);
    fputs("\n", out);
    print_roff(page->summary, out);
    fputs(".\n.PP\n\\fB", out);
    print_roff(program, out);
    if (page->name) {
        fputs(" ", out);
        print_roff(page->name, out);
    }
    fputs("\\fR", out);
    if (page->positional) {
        fputs(" \\fI", out);
        print_roff(page->positional, out);
        fputs("\\fR", out);
    }
    fputs(" [options]\n", out);
    for (const struct option_spec *spec = page->options; spec->name; spec++) {
        print_manual_option(spec, out);
    }
    print_manual_option(&help_option, out);
}

void option_pages_manual(const char *program, const char *summary, const struct option_page *pages,
                         size_t count, FILE *out)
{
    fprintf(out, ".TH %s 1 \"\" \"%s " ROOMWAKE_VERSION "\" \"User Commands\"\n.SH NAME\n", program,
            program);
    print_roff(program, out);
    fputs(" \\- ", out);
    print_roff(summary, out);
    fputs("\n.SH SYNOPSIS\n\\fB", out);
    print_roff(program, out);
    fprintf(out, "\\fR %s[options]\n.SH %s\n", pages[0].name ? "\\fICOMMAND\\fR " : "",
            pages[0].name ? "COMMANDS" : "OPTIONS");
    for (size_t i = 0; i < count; i++) {
        print_manual_page(program, &pages[i], out);
    }
    fputs(".SH EXIT STATUS\n0 success, 1 a failed run, 2 wrong use.\n", out);
}

static bool is_file(const struct option_spec *spec)
{
    return spec->value && (strstr(spec->value, "FILE") || strstr(spec->value, "PATH"));
}

static void print_words(const struct option_page *page, FILE *out)
{
    for (const struct option_spec *spec = page->options; spec->name; spec++) {
        fprintf(out, "--%s ", spec->name);
    }
    fputs("--help", out);
}

/* After an option that takes a file, files; after another that takes a value, nothing. */
static void print_values(const struct option_page *page, FILE *out)
{
    for (const struct option_spec *spec = page->options; spec->name; spec++) {
        if (spec->value) {
            fprintf(out, "        --%s) %s return ;;\n", spec->name,
                    is_file(spec) ? "COMPREPLY=($(compgen -f -- \"$word\"));" : "");
        }
    }
}

void option_pages_completion(const char *program, const struct option_page *pages, size_t count,
                             FILE *out)
{
    char function[64];
    bool commands = pages[0].name != NULL;
    (void)snprintf(function, sizeof function, "_%s", program);
    for (char *c = function; *c; c++) {
        *c = *c == '-' ? '_' : *c;
    }
    fprintf(out,
            "# Completion for bash, made from the program's own options.\n%s() {\n"
            "  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]}\n"
            "  COMPREPLY=()\n",
            function);
    if (commands) {
        fputs("  if [ \"$COMP_CWORD\" -eq 1 ]; then\n    COMPREPLY=($(compgen -W \"", out);
        for (size_t i = 0; i < count; i++) {
            fprintf(out, "%s ", pages[i].name);
        }
        fputs("--help --version\" -- \"$word\"))\n    return\n  fi\n", out);
    }
    fprintf(out, "  case ${COMP_WORDS[%d]} in\n", commands ? 1 : 0);
    for (size_t i = 0; i < count; i++) {
        fprintf(out, "    %s)\n      case $before in\n", commands ? pages[i].name : "*");
        print_values(&pages[i], out);
        fputs("      esac\n      COMPREPLY=($(compgen -W \"", out);
        print_words(&pages[i], out);
        fprintf(out, "\" -- \"$word\")%s) ;;\n",
                pages[i].positional ? " $(compgen -f -- \"$word\")" : "");
    }
    fprintf(out, "  esac\n}\ncomplete -o filenames -F %s %s\n", function, program);
}
