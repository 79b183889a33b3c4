/* Words to the service manager.
 * Must never wait. Called by both programs' loops. */
#include "common/service.h"

#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

static char kept[sizeof((struct sockaddr_un *)0)->sun_path];

void service_keep(void)
{
    const char *name = getenv("NOTIFY_SOCKET");
    if (name && strlen(name) < sizeof kept) {
        memcpy(kept, name, strlen(name) + 1);
    }
    (void)unsetenv("NOTIFY_SOCKET");
}

static void say(const char *words)
{
    const char *name = kept[0] ? kept : getenv("NOTIFY_SOCKET");
    struct sockaddr_un address = {.sun_family = AF_UNIX};
    size_t length = name ? strlen(name) : 0;
    if (length < 2 || length >= sizeof address.sun_path || (name[0] != '/' && name[0] != '@')) {
        return;
    }
    memcpy(address.sun_path, name, length);
    if (name[0] == '@') {
        address.sun_path[0] = '\0';
    }
    int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
    if (fd >= 0) {
        socklen_t size = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + length);
        (void)sendto(fd, words, strlen(words), MSG_NOSIGNAL, (struct sockaddr *)&address, size);
        (void)close(fd);
    }
}

void service_ready(void)
{
    say("READY=1");
}

void service_alive(void)
{
    say("WATCHDOG=1");
}

void service_ending(void)
{
    say("STOPPING=1");
}
