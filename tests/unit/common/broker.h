/* A real broker of the test's own on a free loopback port.
 * Must never be included by product code, nor outlive its test. Used by tests that need a broker.
 */
#ifndef ROOMWAKE_TESTS_UNIT_COMMON_BROKER_H
#define ROOMWAKE_TESTS_UNIT_COMMON_BROKER_H

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <signal.h>
#include <spawn.h>
#include <sys/prctl.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#define BROKER_PROGRAM "/usr/sbin/mosquitto"

struct broker {
    int port;
    pid_t pid;
    char config[256];
};

static inline int broker_free_port(void)
{
    int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    struct sockaddr_in address = {.sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK)};
    socklen_t length = sizeof address;
    if (fd < 0 || bind(fd, (struct sockaddr *)&address, length) ||
        getsockname(fd, (struct sockaddr *)&address, &length)) {
        fail_msg("no free loopback port: %s", strerror(errno));
    }
    close(fd);
    return ntohs(address.sin_port);
}

/* Writes the settings and starts; the clients under test wait for the port by themselves. */
static inline void broker_start(struct broker *broker)
{
    extern char **environ;
    if (access(BROKER_PROGRAM, X_OK) != 0) {
        fail_msg("the broker is missing: install the package mosquitto (" BROKER_PROGRAM ")");
    }
    if (!broker->port) {
        broker->port = broker_free_port();
        const char *folder = getenv("TMPDIR");
        snprintf(broker->config, sizeof broker->config, "%s/broker-XXXXXX",
                 folder ? folder : "/tmp");
        int fd = mkstemp(broker->config);
        assert_true(fd >= 0);
        dprintf(fd,
                "listener %d 127.0.0.1\nallow_anonymous true\npersistence false\n"
                "log_dest none\n",
                broker->port);
        close(fd);
    }
    char *arguments[] = {(char *)"mosquitto", (char *)"-c", broker->config, NULL};
    assert_int_equal(posix_spawn(&broker->pid, BROKER_PROGRAM, NULL, NULL, arguments, environ), 0);
}

static inline void broker_kill(struct broker *broker)
{
    if (broker->pid > 0) {
        kill(broker->pid, SIGKILL);
        waitpid(broker->pid, NULL, 0);
        broker->pid = 0;
    }
}

static inline void broker_remove(struct broker *broker)
{
    broker_kill(broker);
    unlink(broker->config);
    broker->port = 0;
}

#endif
