/* Promises to the service manager, of sd_notify(3)'s protocol: what is said, to whom, and that a
 * program without a manager, or with one that does not listen, goes on. Must never need systemd. */
#include "tests/unit/test.h"

#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

#include "common/service.h"

static char path[sizeof((struct sockaddr_un *)0)->sun_path];

static int listen_at(const char *name, size_t length)
{
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    memcpy(address.sun_path, name, length);
    int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    assert_true(fd >= 0);
    assert_int_equal(bind(fd, (struct sockaddr *)&address,
                          (socklen_t)(offsetof(struct sockaddr_un, sun_path) + length)),
                     0);
    return fd;
}

static void assert_heard(int fd, const char *words)
{
    char heard[64] = "";
    ssize_t got = recv(fd, heard, sizeof heard - 1, 0);
    assert_int_equal(got, strlen(words));
    assert_string_equal(heard, words);
}

static void a_manager_at_a_path_hears_each_word(void **state)
{
    (void)state;
    int fd = listen_at(path, strlen(path));
    assert_int_equal(setenv("NOTIFY_SOCKET", path, 1), 0);
    service_ready();
    service_alive();
    service_ending();
    assert_heard(fd, "READY=1");
    assert_heard(fd, "WATCHDOG=1");
    assert_heard(fd, "STOPPING=1");
    (void)close(fd);
    (void)unlink(path);
}

static void a_manager_with_an_abstract_name_hears_it_too(void **state)
{
    (void)state;
    char name[64];
    int length = snprintf(name, sizeof name, "@roomwake-service-%d", (int)getpid());
    assert_int_equal(setenv("NOTIFY_SOCKET", name, 1), 0);
    name[0] = '\0';
    int fd = listen_at(name, (size_t)length);
    service_ready();
    assert_heard(fd, "READY=1");
    (void)close(fd);
}

/* Nobody, a socket that is gone, names that are none: nothing happens, and nothing waits. */
static void without_a_manager_a_program_goes_on(void **state)
{
    (void)state;
    static const char *const names[] = {"/nonexistent/manager", "", "/", "manager", "@"};
    assert_int_equal(unsetenv("NOTIFY_SOCKET"), 0);
    service_ready();
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        assert_int_equal(setenv("NOTIFY_SOCKET", names[i], 1), 0);
        service_alive();
    }
    char longest[sizeof path + 8];
    memset(longest, 'a', sizeof longest - 1);
    longest[0] = '/';
    longest[sizeof longest - 1] = '\0';
    assert_int_equal(setenv("NOTIFY_SOCKET", longest, 1), 0);
    service_alive();
}

/* A manager that reads nothing fills up; the loop must not wait for it. */
static void a_manager_that_does_not_read_holds_nobody_up(void **state)
{
    (void)state;
    int fd = listen_at(path, strlen(path));
    assert_int_equal(setenv("NOTIFY_SOCKET", path, 1), 0);
    (void)alarm(60); /* instead of standing for ever */
    for (int i = 0; i < 5000; i++) {
        service_alive();
    }
    (void)alarm(0);
    assert_heard(fd, "WATCHDOG=1");
    (void)close(fd);
    (void)unlink(path);
}

/* Last: what is kept is kept for the program's life. In a child, so that the others don't see it.
 */
static void a_kept_manager_is_hidden_from_children_and_still_hears(void **state)
{
    (void)state;
    int fd = listen_at(path, strlen(path));
    assert_int_equal(setenv("NOTIFY_SOCKET", path, 1), 0);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        service_keep();
        bool hidden = getenv("NOTIFY_SOCKET") == NULL;
        service_ready();
        _exit(hidden ? 0 : 1);
    }
    int status = 0;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
    assert_heard(fd, "READY=1");
    (void)close(fd);
    (void)unlink(path);
}

static int setup(void **state)
{
    (void)state;
    int length = snprintf(path, sizeof path, "/tmp/roomwake-service-%d", (int)getpid());
    return length > 0 && (size_t)length < sizeof path ? 0 : -1;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_manager_at_a_path_hears_each_word),
        cmocka_unit_test(a_manager_with_an_abstract_name_hears_it_too),
        cmocka_unit_test(without_a_manager_a_program_goes_on),
        cmocka_unit_test(a_manager_that_does_not_read_holds_nobody_up),
        cmocka_unit_test(a_kept_manager_is_hidden_from_children_and_still_hears),
    };
    return cmocka_run_group_tests(tests, setup, NULL);
}
