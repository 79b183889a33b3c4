/* Which Host headers are the page's own. Must never look a name up. Run by ctest. */
#include "tests/unit/test.h"

#include <arpa/inet.h>
#include <netinet/in.h>

#include "collector/web/host.h"

static bool own(const char *host, const char *address, uint16_t port)
{
    struct sockaddr_in four = {.sin_family = AF_INET, .sin_port = htons(port)};
    struct sockaddr_in6 six = {.sin6_family = AF_INET6, .sin6_port = htons(port)};
    if (inet_pton(AF_INET, address, &four.sin_addr) == 1) {
        return web_host_is_own(host, (const struct sockaddr *)&four);
    }
    assert_int_equal(inet_pton(AF_INET6, address, &six.sin6_addr), 1);
    return web_host_is_own(host, (const struct sockaddr *)&six);
}

static void its_own_address_and_port_are_its_own(void **state)
{
    (void)state;
    assert_true(own("127.0.0.1:8080", "127.0.0.1", 8080));
    assert_true(own("localhost:8080", "127.0.0.1", 8080));
    assert_true(own("LOCALHOST:8080", "127.0.0.1", 8080));
    assert_true(own("[::1]:8080", "::1", 8080));
    assert_true(own("localhost:8080", "::1", 8080));
    assert_true(own("192.0.2.7:8080", "192.0.2.7", 8080));
    assert_true(own("127.0.0.1", "127.0.0.1", 80));
}

static void every_other_name_is_foreign(void **state)
{
    (void)state;
    assert_false(own(NULL, "127.0.0.1", 8080));
    assert_false(own("", "127.0.0.1", 8080));
    assert_false(own("page.example:8080", "127.0.0.1", 8080));
    assert_false(own("localhost.example:8080", "127.0.0.1", 8080));
    assert_false(own("127.0.0.1.example:8080", "127.0.0.1", 8080));
    assert_false(own("127.0.0.1", "127.0.0.1", 8080));
    assert_false(own("127.0.0.1:80801", "127.0.0.1", 8080));
    assert_false(own("127.0.0.1:8081", "127.0.0.1", 8080));
    assert_false(own("localhost:8080", "192.0.2.7", 8080));
    assert_false(own("[::1]:8080", "127.0.0.1", 8080));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(its_own_address_and_port_are_its_own),
        cmocka_unit_test(every_other_name_is_foreign),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
