/* Tests of what reaches standard error and the extra sink.
 * Must never leave standard error redirected.
 * Run by ctest. */
#include "tests/unit/test.h"

#include <fcntl.h>
#include <string.h>
#include <unistd.h>

#include "common/log.h"

struct capture {
    int lines;
    enum log_level level;
    char line[2048];
};

static void on_line(void *context, enum log_level level, const char *line)
{
    struct capture *capture = context;
    capture->lines++;
    capture->level = level;
    (void)snprintf(capture->line, sizeof capture->line, "%s", line);
}

static int saved_error = -1;

/* Standard error goes into a pipe until restore(). Returns the end to read. */
static int redirect(void)
{
    int ends[2];
    assert_int_equal(pipe(ends), 0);
    saved_error = dup(STDERR_FILENO);
    (void)dup2(ends[1], STDERR_FILENO);
    (void)close(ends[1]);
    return ends[0];
}

static void restore(void)
{
    (void)dup2(saved_error, STDERR_FILENO);
    (void)close(saved_error);
}

static size_t drain(int end, char *out, size_t size)
{
    ssize_t got = read(end, out, size - 1);
    out[got > 0 ? got : 0] = '\0';
    (void)close(end);
    return got > 0 ? (size_t)got : 0;
}

static void a_line_is_one_write_with_the_program_in_front(void **state)
{
    (void)state;
    int end = redirect();
    log_set_program("roomwake-node");
    log_warning("spool: %d frames", 3);
    restore();
    char out[4096];
    (void)drain(end, out, sizeof out);
    assert_string_equal(out, "roomwake-node: spool: 3 frames\n");
}

static void control_characters_do_not_reach_the_terminal(void **state)
{
    (void)state;
    struct capture capture = {0};
    int end = redirect();
    log_set_sink(on_line, &capture);
    log_error("a\nb\x1b[2Jc\x7f \xc2\x9b"
              "d \xc3\xa9");
    restore();
    log_set_sink(NULL, NULL);
    char out[4096];
    (void)drain(end, out, sizeof out);
    assert_string_equal(capture.line, "a b [2Jc    d \xc3\xa9");
    assert_int_equal(capture.level, LOG_LEVEL_ERROR);
    assert_ptr_equal(strchr(out, '\n'), out + strlen(out) - 1);
}

static void lines_below_the_level_are_not_told(void **state)
{
    (void)state;
    struct capture capture = {0};
    int end = redirect();
    log_set_sink(on_line, &capture);
    log_debug("hidden");
    log_set_level(LOG_LEVEL_DEBUG);
    log_debug("shown");
    log_set_level(LOG_LEVEL_INFO);
    log_info("also shown");
    restore();
    log_set_sink(NULL, NULL);
    char out[4096];
    (void)drain(end, out, sizeof out);
    assert_int_equal(capture.lines, 2);
    assert_null(strstr(out, "hidden"));
}

static void a_long_line_is_cut_and_says_so(void **state)
{
    (void)state;
    char big[5000];
    memset(big, 'x', sizeof big - 1);
    big[sizeof big - 1] = '\0';
    int end = redirect();
    log_set_program("a-program-with-a-very-long-name-that-nobody-would-give-to-one");
    log_info("%s", big);
    log_set_program("roomwake");
    restore();
    char out[4096];
    size_t length = drain(end, out, sizeof out);
    assert_true(length < 1200);
    assert_string_equal(out + length - 5, "x...\n");
}

static void a_screen_that_stands_still_holds_nobody_up_and_learns_how_much_it_missed(void **state)
{
    (void)state;
    static char out[1 << 17];
    int end = redirect();
    log_set_program("roomwake");
    assert_int_equal(fcntl(STDERR_FILENO, F_SETFL, O_NONBLOCK), 0);
    memset(out, '.', sizeof out);
    while (write(STDERR_FILENO, out, 4096) > 0) {
    }
    assert_int_equal(fcntl(STDERR_FILENO, F_SETFL, 0), 0);
    (void)alarm(60); /* instead of standing for ever */
    assert_true(log_would_wait(STDERR_FILENO));
    log_error("one");
    log_error("two");
    assert_true(read(end, out, sizeof out) > 0);
    assert_false(log_would_wait(STDERR_FILENO));
    log_error("three");
    (void)alarm(0);
    restore();
    (void)drain(end, out, sizeof out);
    assert_non_null(strstr(out, "roomwake: 2 lines before this were left out\nroomwake: three\n"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_line_is_one_write_with_the_program_in_front),
        cmocka_unit_test(control_characters_do_not_reach_the_terminal),
        cmocka_unit_test(lines_below_the_level_are_not_told),
        cmocka_unit_test(a_long_line_is_cut_and_says_so),
        cmocka_unit_test(a_screen_that_stands_still_holds_nobody_up_and_learns_how_much_it_missed),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
