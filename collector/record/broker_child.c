/* A mosquitto of the base station's own, as a child process that is started again when it dies.
 * Must never listen beyond the address it was given nor end a process that it did not start. Called
 * by session.c. */
#include "collector/record/broker_child.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <unistd.h>

#include "common/log.h"

#define RESTART_MS 500u
/* Where the child finds the descriptors that its files are in. */
#define FIRST_FD 3
#define CONFIG_PATH "/proc/self/fd/3"
#define SETPRIV "/usr/bin/setpriv"
#define ARGUMENTS_MAX 12

/* In the order of their descriptors; an open broker has the first alone. */
enum { FILE_CONFIG, FILE_CERTIFICATE, FILE_KEY, FILE_PASSWORDS, FILE_ACCESS, FILE_COUNT };

struct broker_child {
    uv_loop_t *loop;
    uv_process_t process;
    uv_timer_t restart;
    bool process_open;
    bool stopping;
    int open_handles;
    char program[64];
    int files[FILE_COUNT]; /* -1: there is none */
    void (*on_stopped)(void *context);
    void *stopped_context;
};

static const char *const program_places[] = {"/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto",
                                             "/usr/bin/mosquitto", NULL};

static int find_program(char *program, size_t size, struct error *error)
{
    for (size_t i = 0; program_places[i]; i++) {
        if (access(program_places[i], X_OK) == 0) {
            (void)snprintf(program, size, "%s", program_places[i]);
            return 0;
        }
    }
    return error_set(
        error, ERROR_NOT_FOUND,
        "broker: no mosquitto is installed (install it, or name a broker by --broker)");
}

/* The broker itself would only say so in its log, after we believed it to run. */
static int check_port_free(const char *host, int port, struct error *error)
{
    struct sockaddr_storage address;
    socklen_t length;
    memset(&address, 0, sizeof address);
    struct sockaddr_in *four = (struct sockaddr_in *)&address;
    struct sockaddr_in6 *six = (struct sockaddr_in6 *)&address;
    if (inet_pton(AF_INET, host, &four->sin_addr) == 1) {
        four->sin_family = AF_INET;
        four->sin_port = htons((uint16_t)port);
        length = sizeof *four;
    } else if (inet_pton(AF_INET6, host, &six->sin6_addr) == 1) {
        six->sin6_family = AF_INET6;
        six->sin6_port = htons((uint16_t)port);
        length = sizeof *six;
    } else {
        return error_set(error, ERROR_USAGE, "--listen: \"%s\" is no numeric address", host);
    }
    int fd = socket(address.ss_family, SOCK_STREAM | SOCK_CLOEXEC, 0);
    if (fd < 0) {
        return error_set(error, ERROR_IO, "broker: socket: %s", strerror(errno));
    }
    int on = 1;
    (void)setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof on);
    int result = bind(fd, (struct sockaddr *)&address, length);
    int why = errno;
    (void)close(fd);
    if (result != 0) {
        return error_set(error, ERROR_BUSY, "broker: %s port %d: %s", host, port, strerror(why));
    }
    return 0;
}

/* In memory, so that no folder's rights stand between it and a broker that drops root, and nothing
 * is left behind however we end. What was there before is replaced in place: the child has it open.
 */
static int put_file(struct broker_child *child, int which, const struct text *text,
                    struct error *error)
{
    static const char *const names[] = {"config", "certificate", "key", "passwords", "access"};
    int *file = &child->files[which];
    if (*file < 0) {
        *file = memfd_create(names[which], MFD_CLOEXEC);
    }
    if (text->failed || *file < 0 || ftruncate(*file, 0) != 0 ||
        pwrite(*file, text->bytes, text->length, 0) != (ssize_t)text->length) {
        return error_set(error, ERROR_IO, "broker: its %s: %s", names[which],
                         text->failed ? "out of memory" : strerror(errno));
    }
    return 0;
}

/* Nothing is kept by the broker: nodes hold their samples until the base station has them on disk.
 * The limits are above the largest message that a node makes. */
static int write_config(struct broker_child *child, const char *host, int port, bool open,
                        struct error *error)
{
    struct text text = {0};
    (void)text_append_format(&text,
                             "listener %d %s\n"
                             "allow_anonymous %s\n"
                             "persistence false\n"
                             "log_dest stderr\n"
                             "log_type error\n"
                             "log_type warning\n"
                             "max_inflight_messages 500\n"
                             "max_queued_messages 20000\n"
                             "max_queued_bytes 134217728\n"
                             "max_packet_size 2097664\n",
                             port, host, open ? "true" : "false");
    if (!open) {
        (void)text_append_format(&text,
                                 "certfile /proc/self/fd/%d\n"
                                 "keyfile /proc/self/fd/%d\n"
                                 "tls_version tlsv1.2\n" /* the least */
                                 "password_file /proc/self/fd/%d\n"
                                 "acl_file /proc/self/fd/%d\n",
                                 FIRST_FD + FILE_CERTIFICATE, FIRST_FD + FILE_KEY,
                                 FIRST_FD + FILE_PASSWORDS, FIRST_FD + FILE_ACCESS);
    }
    int result = put_file(child, FILE_CONFIG, &text, error);
    text_free(&text);
    return result;
}

static int put_users(struct broker_child *child, const struct enrol_broker *keys,
                     struct error *error)
{
    return put_file(child, FILE_PASSWORDS, &keys->passwords, error) ||
                   put_file(child, FILE_ACCESS, &keys->access, error)
               ? -1
               : 0;
}

static int put_files(struct broker_child *child, const char *host, int port,
                     const struct enrol_broker *keys, struct error *error)
{
    if (write_config(child, host, port, keys == NULL, error) != 0) {
        return -1;
    }
    return keys && (put_file(child, FILE_CERTIFICATE, &keys->certificate, error) ||
                    put_file(child, FILE_KEY, &keys->key, error) || put_users(child, keys, error))
               ? -1
               : 0;
}

static void on_restart(uv_timer_t *timer);

static void on_handle_closed(uv_handle_t *handle)
{
    struct broker_child *child = handle->data;
    child->open_handles--;
    if (child->stopping && child->open_handles == 0) {
        child->on_stopped(child->stopped_context);
    }
}

static void on_exit_of_broker(uv_process_t *process, int64_t status, int signal_number)
{
    struct broker_child *child = process->data;
    child->process_open = false;
    uv_close((uv_handle_t *)process, on_handle_closed);
    if (!child->stopping) {
        log_warning("the broker ended (exit %d, signal %d); starting it again", (int)status,
                    signal_number);
        (void)uv_timer_start(&child->restart, on_restart, RESTART_MS, 0);
    }
}

/* Started through setpriv where there is one, so that the broker ends with us even when we are
 * killed: an orphan would keep the port. It drops root before, since a later change of user would
 * undo that. */
static void make_arguments(struct broker_child *child, char *arguments[ARGUMENTS_MAX])
{
    static char *const as_root[] = {"--reuid=mosquitto", "--regid=mosquitto", "--clear-groups"};
    size_t count = 0;
    if (access(SETPRIV, X_OK) == 0) {
        arguments[count++] = SETPRIV;
        arguments[count++] = "--pdeathsig=TERM";
        for (size_t i = 0; geteuid() == 0 && i < sizeof as_root / sizeof *as_root; i++) {
            arguments[count++] = as_root[i];
        }
        arguments[count++] = "--";
    }
    arguments[count++] = child->program;
    arguments[count++] = "-c";
    arguments[count++] = CONFIG_PATH;
    arguments[count] = NULL;
}

static int spawn(struct broker_child *child, struct error *error)
{
    char *arguments[ARGUMENTS_MAX];
    make_arguments(child, arguments);
    uv_stdio_container_t streams[FIRST_FD + FILE_COUNT] = {
        {.flags = UV_IGNORE},
        {.flags = UV_INHERIT_FD, .data.fd = 2},
        {.flags = UV_INHERIT_FD, .data.fd = 2},
    };
    int count = FIRST_FD;
    for (int i = 0; i < FILE_COUNT && child->files[i] >= 0; i++) {
        streams[count].flags = UV_INHERIT_FD;
        streams[count++].data.fd = child->files[i];
    }
    uv_process_options_t options = {
        .exit_cb = on_exit_of_broker,
        .file = arguments[0],
        .args = arguments,
        .stdio_count = count,
        .stdio = streams,
    };
    memset(&child->process, 0, sizeof child->process);
    child->process.data = child;
    int result = uv_spawn(child->loop, &child->process, &options);
    /* A failed spawn leaves an initialised handle that must be closed like any other. */
    child->open_handles++;
    if (result != 0) {
        uv_close((uv_handle_t *)&child->process, on_handle_closed);
        return error_set(error, ERROR_IO, "broker: %s: %s", child->program, uv_strerror(result));
    }
    child->process_open = true;
    return 0;
}

static void on_restart(uv_timer_t *timer)
{
    struct broker_child *child = timer->data;
    struct error error;
    if (uv_is_closing((uv_handle_t *)&child->process) && child->open_handles > 1) {
        (void)uv_timer_start(timer, on_restart, RESTART_MS, 0);
        return;
    }
    if (spawn(child, &error) != 0) {
        log_error("%s", error.text);
        (void)uv_timer_start(timer, on_restart, RESTART_MS * 4, 0);
    }
}

int broker_child_start(uv_loop_t *loop, const char *host, int port, const struct enrol_broker *keys,
                       struct broker_child **out, struct error *error)
{
    *out = NULL;
    struct broker_child *child = calloc(1, sizeof *child);
    if (!child) {
        return error_set(error, ERROR_MEMORY, "broker: out of memory");
    }
    child->loop = loop;
    for (int i = 0; i < FILE_COUNT; i++) {
        child->files[i] = -1;
    }
    if (find_program(child->program, sizeof child->program, error) != 0 ||
        check_port_free(host, port, error) != 0 || put_files(child, host, port, keys, error) != 0 ||
        uv_timer_init(loop, &child->restart) != 0) {
        broker_child_free(child);
        return -1;
    }
    child->restart.data = child;
    child->open_handles = 1;
    *out = child;
    return spawn(child, error);
}

/* A broker that is just being started again reads the new files anyway. */
int broker_child_reload(struct broker_child *child, const struct enrol_broker *keys,
                        struct error *error)
{
    if (put_users(child, keys, error) != 0) {
        return -1;
    }
    if (child->process_open && uv_process_kill(&child->process, SIGHUP) != 0) {
        return error_set(error, ERROR_IO, "broker: can't be told to read its passwords again");
    }
    return 0;
}

void broker_child_stop(struct broker_child *child, void (*on_stopped)(void *context), void *context)
{
    child->stopping = true;
    child->on_stopped = on_stopped;
    child->stopped_context = context;
    uv_close((uv_handle_t *)&child->restart, on_handle_closed);
    if (child->process_open) {
        (void)uv_process_kill(&child->process, SIGTERM);
    }
}

void broker_child_free(struct broker_child *child)
{
    for (int i = 0; child && i < FILE_COUNT; i++) {
        if (child->files[i] >= 0) {
            (void)close(child->files[i]);
        }
    }
    free(child);
}
