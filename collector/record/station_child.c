/* Spawns this very program with `record`, waits for its note of running, ends it by its own pid.
 * Must never wait for ever. Called by preflight_run.c and walk_run.c. */
#include "collector/record/station_child.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#define BEGIN_LIMIT_MS 20000
#define END_LIMIT_MS 60000
#define STEP_MS 100
#define ARGUMENTS_MAX 16

extern char **environ;

static void rest(void)
{
    const struct timespec step = {0, STEP_MS * 1000000L};
    (void)nanosleep(&step, NULL);
}

static void add(const char **arguments, size_t *count, const char *option, const char *value)
{
    if (value) {
        arguments[(*count)++] = option;
        arguments[(*count)++] = value;
    }
}

static int spawn(const struct station_child_settings *settings, const char *night,
                 struct station_child *recorder, struct error *error)
{
    const char *arguments[ARGUMENTS_MAX] = {"roomwake", "record"};
    size_t count = 2;
    posix_spawn_file_actions_t quiet;
    add(arguments, &count, "--site", settings->site_path);
    add(arguments, &count, "--night", night);
    add(arguments, &count, "--broker", settings->broker_url);
    add(arguments, &count, "--listen", settings->listen);
    add(arguments, &count, "--time", settings->time);
    if (posix_spawn_file_actions_init(&quiet) != 0) {
        return error_set(error, ERROR_MEMORY, "recorder: out of memory");
    }
    int failed = posix_spawn_file_actions_addopen(&quiet, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
    if (failed == 0) {
        union {
            const char **constant;
            char **pointer;
        } list = {.constant = arguments};
        failed =
            posix_spawn(&recorder->child, "/proc/self/exe", &quiet, NULL, list.pointer, environ);
    }
    (void)posix_spawn_file_actions_destroy(&quiet);
    return failed == 0 ? 0 : error_set(error, ERROR_IO, "roomwake record: %s", strerror(failed));
}

/* It says on standard error itself why it could not begin. */
static int wait_for_note(const char *site, struct station_child *recorder, struct error *error)
{
    struct error ignored;
    for (int waited = 0; waited < BEGIN_LIMIT_MS; waited += STEP_MS) {
        if (running_find(site, &recorder->running, &ignored) == 0 &&
            recorder->running.pid == (int)recorder->child) {
            return 0;
        }
        if (waitpid(recorder->child, NULL, WNOHANG) == recorder->child) {
            recorder->child = 0;
            return error_set(error, ERROR_STATE, "the recorder could not begin (see above)");
        }
        rest();
    }
    station_child_end(recorder);
    return error_set(error, ERROR_STATE, "the recorder did not begin in %d s",
                     BEGIN_LIMIT_MS / 1000);
}

int station_child_begin(const struct station_child_settings *settings,
                        struct station_child *recorder, struct error *error)
{
    struct error ignored;
    char made[64];
    memset(recorder, 0, sizeof *recorder);
    if (running_find(settings->site_id, &recorder->running, &ignored) == 0) {
        return 0;
    }
    time_t now = time(NULL);
    struct tm local = {0};
    (void)localtime_r(&now, &local);
    (void)strftime(made, sizeof made, "preflight-%Y%m%d-%H%M%S.sqlite", &local);
    const char *night = settings->night_path ? settings->night_path : made;
    return spawn(settings, night, recorder, error) != 0
               ? -1
               : wait_for_note(settings->site_id, recorder, error);
}

void station_child_end(struct station_child *recorder)
{
    int waited = 0;
    if (recorder->child == 0) {
        return;
    }
    (void)kill(recorder->child, SIGTERM);
    while (waitpid(recorder->child, NULL, WNOHANG) == 0 && waited < END_LIMIT_MS) {
        rest();
        waited += STEP_MS;
    }
    recorder->child = 0;
}
