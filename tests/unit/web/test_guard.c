/* Deadlines of connections: who is late is shut, who is being answered is not.
 * Must never wait: the time is passed in. Run by ctest. */
#include "tests/unit/test.h"

#include <sys/socket.h>
#include <unistd.h>

#include "collector/web/guard.h"

static bool is_shut(int other_end)
{
    char byte;
    return recv(other_end, &byte, 1, MSG_DONTWAIT) == 0;
}

static void a_connection_that_dawdles_is_shut(void **state)
{
    (void)state;
    struct error error;
    struct web_guard *guard = NULL;
    int late[2];
    int answered[2];
    int kept[2];
    assert_int_equal(web_guard_new(&guard, &error), 0);
    assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM, 0, late), 0);
    assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM, 0, answered), 0);
    assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM, 0, kept), 0);
    struct web_guarded *first = web_guard_open(guard, late[0], 1000);
    struct web_guarded *second = web_guard_open(guard, answered[0], 1000);
    struct web_guarded *third = web_guard_open(guard, kept[0], 1000);
    web_guard_until(second, 0);
    web_guard_until(third, 90000);
    web_guard_look(guard, 1000 + WEB_GUARD_HEAD_MS);
    assert_false(is_shut(late[1]));
    web_guard_look(guard, 1001 + WEB_GUARD_HEAD_MS);
    assert_true(is_shut(late[1]));
    assert_false(is_shut(answered[1]));
    assert_false(is_shut(kept[1]));
    web_guard_close(guard, second);
    web_guard_close(guard, third);
    web_guard_close(guard, first);
    web_guard_look(guard, 1000000);
    web_guard_free(guard);
    for (size_t i = 0; i < 2; i++) {
        (void)close(late[i]);
        (void)close(answered[i]);
        (void)close(kept[i]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_connection_that_dawdles_is_shut),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
