/* Alerts to a command of the user's: `/bin/sh -c COMMAND` with the JSON on its standard input.
 * Must never wait for it, nor let one that hangs outlive OUTLET_COMMAND_MS.
 * Called through outlet.h. */
#include <signal.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>

#include "collector/alert/outlet.h"
#include "common/log.h"

struct outlet_command;

/* One run of the command. */
struct command_run {
    struct outlet_command *owner;
    bool used;
    uv_process_t process;
    uv_pipe_t input;
    uv_timer_t timer;
    uv_write_t write;
    char *json;
    int open_handles;
    bool alive; /* the process */
};

struct outlet_command {
    struct outlet head;
    uv_loop_t *loop;
    char *command;
    bool closing;
    struct command_run runs[OUTLET_COMMANDS_MAX];
};

static bool is_idle(const struct outlet_command *command)
{
    for (size_t i = 0; i < OUTLET_COMMANDS_MAX; i++) {
        if (command->runs[i].used) {
            return false;
        }
    }
    return true;
}

static void tell_closed(struct outlet_command *command)
{
    if (command->closing && is_idle(command) && command->head.on_closed) {
        command->head.on_closed(command->head.context);
    }
}

static void on_handle_closed(uv_handle_t *handle)
{
    struct command_run *run = handle->data;
    run->open_handles--;
    if (run->open_handles == 0) {
        free(run->json);
        run->json = NULL;
        run->used = false;
        tell_closed(run->owner);
    }
}

static void close_handle(uv_handle_t *handle)
{
    if (!uv_is_closing(handle)) {
        uv_close(handle, on_handle_closed);
    }
}

/* The shell has a group of its own, so that what it started goes with it. */
static void kill_run(struct command_run *run)
{
    if (run->alive) {
        (void)uv_kill(-run->process.pid, SIGKILL);
    }
}

static void on_exit_of_command(uv_process_t *process, int64_t status, int signal_number)
{
    struct command_run *run = process->data;
    run->alive = false;
    if (signal_number != 0) {
        log_warning("alert command: ended by signal %d", signal_number);
    } else if (status != 0) {
        log_warning("alert command: exit status %lld", (long long)status);
    }
    close_handle((uv_handle_t *)&run->process);
    close_handle((uv_handle_t *)&run->timer);
    close_handle((uv_handle_t *)&run->input);
}

static void on_overdue(uv_timer_t *timer)
{
    struct command_run *run = timer->data;
    log_warning("alert command: still running after %d s, killed", OUTLET_COMMAND_MS / 1000);
    kill_run(run);
}

static void on_written(uv_write_t *write, int status)
{
    struct command_run *run = write->data;
    if (status < 0 && status != UV_ECANCELED && status != UV_EPIPE) {
        log_warning("alert command: its input: %s", uv_strerror(status));
    }
    close_handle((uv_handle_t *)&run->input); /* the end of its input */
}

static int spawn(struct outlet_command *command, struct command_run *run)
{
    char shell[] = "/bin/sh";
    char option[] = "-c";
    char *arguments[] = {shell, option, command->command, NULL};
    uv_stdio_container_t stdio[3] = {
        {.flags = UV_CREATE_PIPE | UV_READABLE_PIPE, .data.stream = (uv_stream_t *)&run->input},
        {.flags = UV_INHERIT_FD, .data.fd = 2},
        {.flags = UV_INHERIT_FD, .data.fd = 2}};
    const uv_process_options_t options = {.exit_cb = on_exit_of_command,
                                          .file = shell,
                                          .args = arguments,
                                          .stdio = stdio,
                                          .stdio_count = 3,
                                          .flags = UV_PROCESS_DETACHED};
    return uv_spawn(command->loop, &run->process, &options);
}

static void start(struct outlet_command *command, struct command_run *run,
                  const struct alert *alert)
{
    *run = (struct command_run){.owner = command, .used = true, .open_handles = 3};
    (void)uv_pipe_init(command->loop, &run->input, 0); /* can't fail, nor can the timer's */
    (void)uv_timer_init(command->loop, &run->timer);
    run->process.data = run->input.data = run->timer.data = run->write.data = run;
    run->json = malloc(alert->json_length);
    int result = spawn(command, run);
    if (result || !run->json) {
        log_warning("alert command: not started: %s",
                    result ? uv_strerror(result) : "out of memory");
        run->alive = result == 0;
        kill_run(run);
        if (result) {
            close_handle((uv_handle_t *)&run->process);
            close_handle((uv_handle_t *)&run->timer);
        }
        close_handle((uv_handle_t *)&run->input);
        return;
    }
    run->alive = true;
    memcpy(run->json, alert->json, alert->json_length);
    uv_buf_t buffer = uv_buf_init(run->json, (unsigned)alert->json_length);
    result = uv_write(&run->write, (uv_stream_t *)&run->input, &buffer, 1, on_written);
    if (result) {
        log_warning("alert command: its input: %s", uv_strerror(result));
        close_handle((uv_handle_t *)&run->input);
    }
    (void)uv_timer_start(&run->timer, on_overdue, OUTLET_COMMAND_MS, 0);
}

static void command_raise(struct outlet *outlet, const struct alert *alert)
{
    struct outlet_command *command = (struct outlet_command *)outlet;
    for (size_t i = 0; i < OUTLET_COMMANDS_MAX; i++) {
        if (!command->runs[i].used && !command->closing) {
            start(command, &command->runs[i], alert);
            return;
        }
    }
    log_warning("alert command: not started: %d are still running", OUTLET_COMMANDS_MAX);
}

static void command_close(struct outlet *outlet)
{
    struct outlet_command *command = (struct outlet_command *)outlet;
    command->closing = true;
    for (size_t i = 0; i < OUTLET_COMMANDS_MAX; i++) {
        if (command->runs[i].used) {
            kill_run(&command->runs[i]);
        }
    }
    tell_closed(command);
}

static void command_free(struct outlet *outlet)
{
    struct outlet_command *command = (struct outlet_command *)outlet;
    free(command->command);
    free(command);
}

int outlet_command_new(uv_loop_t *loop, const char *text, struct outlet **outlet,
                       struct error *error)
{
    static const struct outlet_kind kind = {"command", command_raise, command_close, command_free};
    struct outlet_command *command = calloc(1, sizeof *command);
    if (!command || !(command->command = strdup(text))) {
        free(command);
        return error_set(error, ERROR_MEMORY, "alerts: out of memory");
    }
    command->head.kind = &kind;
    command->loop = loop;
    *outlet = &command->head;
    return 0;
}
