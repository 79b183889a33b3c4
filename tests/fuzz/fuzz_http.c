/* What the page's server is told after libmicrohttpd took a request apart: the Host header, a
 * cookie, a code, the arguments of a question to the night; lines of the input in this order. Must
 * never be linked into a product; libFuzzer calls it. */
#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdlib.h>
#include <string.h>

#include "collector/web/access.h"
#include "collector/web/host.h"
#include "collector/web/query.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

static char *next_line(char **rest)
{
    char *line = strsep(rest, "\n");
    return line ? line : "";
}

static void ask(char *arguments)
{
    struct web_query query;
    struct error error = {0};
    web_query_init(&query);
    for (char *one = strsep(&arguments, "&"); one; one = strsep(&arguments, "&")) {
        char *value = strchr(one, '=');
        if (value) {
            *value++ = '\0';
        }
        if (web_query_take(&query, one, value ? value : "", &error) != 0) {
            require(error.text[0] != '\0');
            return;
        }
    }
    require(query.lane_count <= WEB_LANES_MAX && query.pixels <= WEB_PIXELS_MAX);
    for (size_t i = 0; i < query.lane_count; i++) {
        const struct web_lane *lane = &query.lanes[i];
        require(ident_valid(lane->node, strlen(lane->node)));
        require(channel_name_valid(lane->channel, strlen(lane->channel)));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct web_access *access;
    struct sockaddr_in local = {.sin_family = AF_INET, .sin_port = htons(8080)};
    struct error error;
    char token[WEB_TOKEN_SIZE];
    enum web_right right = WEB_RIGHT_NONE;
    local.sin_addr.s_addr = htonl(0xc0a80701);
    if (!access) {
        require(web_access_new(false, &access, &error) == 0);
    }
    char *text = malloc(size + 1);
    require(text != NULL);
    memcpy(text, data, size);
    text[size] = '\0';
    char *rest = text;
    const char *host = next_line(&rest);
    bool own = web_host_is_own(host, (struct sockaddr *)&local);
    require(!own || strcmp(host, "192.168.7.1:8080") == 0);
    require(web_access_of(access, next_line(&rest)) == WEB_RIGHT_NONE);
    require(web_access_pair(access, next_line(&rest), "192.168.7.9", 0, token, &right) !=
            WEB_PAIRED);
    ask(next_line(&rest));
    free(text);
    return 0;
}
