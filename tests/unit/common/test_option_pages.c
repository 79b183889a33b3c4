/* Promises of the pages that are made from a program's options: each says all of the table, the
 * manual is roff that nothing in a text can break, and bash completes what there is. Run by ctest.
 */
#include "tests/unit/test.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "common/option_pages.h"

static const struct option_spec record_options[] = {
    {"site", "FILE", true, "the site file"},
    {"listen", "ADDR:PORT", false, "where it listens"},
    {"open", NULL, false, ".dot first, a \\ back-slash and a - hyphen"},
    {0},
};
static const struct option_spec review_options[] = {{"out", "PATH", false, "'where it goes"}, {0}};
static const struct option_page pages[] = {
    {"record", NULL, "record a night", record_options},
    {"review", "NIGHT", "a night in words", review_options},
};
static const struct option_page alone = {NULL, NULL, "samples a room", record_options};

static char *made;
static size_t made_size;

static FILE *begin(void)
{
    free(made);
    made = NULL;
    FILE *out = open_memstream(&made, &made_size);
    assert_non_null(out);
    return out;
}

static void end(FILE *out)
{
    assert_int_equal(fclose(out), 0);
}

static void assert_says(const char *text)
{
    if (!strstr(made, text)) {
        fail_msg("\"%s\" is not in:\n%s", text, made);
    }
}

static void help_has_each_option_and_which_are_needed(void **state)
{
    (void)state;
    FILE *out = begin();
    option_pages_help("roomwake", &pages[0], out);
    end(out);
    assert_says("usage: roomwake record --site FILE [--listen ADDR:PORT] [--open]\n");
    assert_says("record a night");
    assert_says("  --site FILE ");
    assert_says("where it listens");
    assert_says("--help");
    out = begin();
    option_pages_help("roomwake", &pages[1], out);
    end(out);
    assert_says("roomwake review NIGHT [--out PATH]");
    out = begin();
    option_pages_help("roomwake-node", &alone, out);
    end(out);
    assert_says("usage: roomwake-node --site FILE");
}

/* No line of text may begin as a request of roff's, and no back-slash of a text may be one. */
static void no_text_can_break_the_manual(void **state)
{
    (void)state;
    FILE *out = begin();
    option_pages_manual("roomwake", "watches rooms", pages, 2, out);
    end(out);
    assert_says(".SH NAME\nroomwake \\- watches rooms\n");
    assert_says("\\&.dot first, a \\e back\\-slash and a \\- hyphen\n");
    assert_says("\\&'where it goes\n");
    assert_says("\\fB\\-\\-site\\fR \\fIFILE\\fR");
    assert_says(".SH EXIT STATUS");
    for (const char *line = made; *line; line = strchr(line, '\n') + 1) {
        static const char *const requests[] = {".TH ", ".SH ", ".SS ", ".TP\n", ".PP\n"};
        bool known = *line != '.' && *line != '\'';
        for (size_t i = 0; i < sizeof requests / sizeof *requests; i++) {
            known = known || strncmp(line, requests[i], strlen(requests[i])) == 0;
        }
        assert_true(known);
    }
}

static void assert_completes(const char *line, const char *expected)
{
    char script[] = "/tmp/roomwake-completion-XXXXXX";
    char command[4096];
    char found[1024] = "";
    int fd = mkstemp(script);
    FILE *file = fd >= 0 ? fdopen(fd, "w") : NULL;
    assert_non_null(file);
    assert_int_equal(fputs(made, file) >= 0 && fclose(file) == 0, 1);
    (void)snprintf(command, sizeof command,
                   "bash -c '. %s; COMP_WORDS=(%s); COMP_CWORD=$((${#COMP_WORDS[@]} - 1)); "
                   "_roomwake; echo \"${COMPREPLY[@]}\"'",
                   script, line);
    FILE *bash = popen(command, "r");
    assert_non_null(bash);
    assert_non_null(fgets(found, sizeof found, bash));
    assert_int_equal(pclose(bash), 0);
    (void)unlink(script);
    found[strcspn(found, "\n")] = '\0';
    assert_string_equal(found, expected);
}

static void bash_completes_commands_options_and_files(void **state)
{
    (void)state;
    FILE *out = begin();
    option_pages_completion("roomwake", pages, 2, out);
    end(out);
    assert_completes("roomwake re", "record review");
    assert_completes("roomwake rev", "review");
    assert_completes("roomwake --v", "--version");
    assert_completes("roomwake record --", "--site --listen --open --help");
    assert_completes("roomwake record --li", "--listen");
    assert_completes("roomwake record --site unit/common/test_option_p",
                     "unit/common/test_option_pages.c");
    assert_completes("roomwake record --listen unit/common/test_option_p", "");
    assert_completes("roomwake review unit/common/test_option_p",
                     "unit/common/test_option_pages.c");
}

static int teardown(void **state)
{
    (void)state;
    free(made);
    return 0;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(help_has_each_option_and_which_are_needed),
        cmocka_unit_test(no_text_can_break_the_manual),
        cmocka_unit_test(bash_completes_commands_options_and_files),
    };
    return cmocka_run_group_tests(tests, NULL, teardown);
}
