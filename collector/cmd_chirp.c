/* roomwake chirp: a short sweep from the base station, marked, so that recordings can be lined up.
 * Must never play without marking, nor mark what was not played. Called by main.c. */
#include <errno.h>
#include <math.h>
#include <spawn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "collector/align/sound_file.h"
#include "collector/commands.h"
#include "collector/options.h"
#include "collector/record/running.h"
#include "collector/record/tell.h"
#include "common/clock.h"

extern char **environ;

#define RATE_HZ 48000
#define LEAD_S 0.1
#define LOUDNESS 0.5
#define LENGTH_S 1.0
#define LATENCY_DEFAULT_S 0.1
#define LATENCY_SD_DEFAULT_S 0.05
#define LATENCY_MOST_S 2.0

struct wish {
    double latency_s;
    double latency_sd_s;
    const char *player;
};

/* Runs "PLAYER FILE" in the shell, as the user wrote it; *began_ns is by the clock that never
 * steps. */
static int play(const char *player, const char *path, const struct clock_source *clock,
                int64_t *began_ns, struct error *error)
{
    char line[1024];
    char *arguments[] = {"sh", "-c", line, NULL};
    pid_t child = 0;
    int status = 0;
    if (snprintf(line, sizeof line, "%s '%s'", player, path) >= (int)sizeof line) {
        return error_set(error, ERROR_USAGE, "--player: too long");
    }
    *began_ns = clock->mono_ns(clock->context);
    int failed = posix_spawn(&child, "/bin/sh", NULL, NULL, arguments, environ);
    if (failed != 0) {
        return error_set(error, ERROR_IO, "sh: %s", strerror(failed));
    }
    while (waitpid(child, &status, 0) < 0 && errno == EINTR) {
    }
    return WIFEXITED(status) && WEXITSTATUS(status) == 0
               ? 0
               : error_set(error, ERROR_IO, "%s: the player failed; nothing was marked", player);
}

static int chirp(const struct wish *wish, const struct running *running, struct error *error)
{
    struct clock_skew skew;
    struct clock_source clock;
    struct message_mark mark = {.length_ns = (int64_t)(LENGTH_S * 1e9)};
    struct message_said said;
    char folder[] = "/tmp/roomwake-chirp-XXXXXX";
    char path[64];
    int64_t began_ns = 0;
    if (clock_from_environment(&skew, &clock, error) != 0) {
        return -1;
    }
    if (!mkdtemp(folder)) {
        return error_set(error, ERROR_IO, "%s: %s", folder, strerror(errno));
    }
    (void)snprintf(path, sizeof path, "%s/chirp.wav", folder);
    int result = sound_file_write_chirp(path, RATE_HZ, LEAD_S, LOUDNESS, error);
    if (result == 0) {
        result = play(wish->player, path, &clock, &began_ns, error);
    }
    (void)unlink(path);
    (void)rmdir(folder);
    if (result != 0) {
        return -1;
    }
    mark.start_ns =
        began_ns + running->site_less_mono_ns + llround((LEAD_S + wish->latency_s) * 1e9);
    (void)snprintf(mark.text, sizeof mark.text, "chirp +- %g s", wish->latency_sd_s);
    return tell_mark(running->broker, running->site, &mark, &said, error);
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct running running;
    const char *player = options_value(arguments, "player");
    struct wish wish = {.player = player ? player : "aplay -q"};
    if (options_number(arguments, "latency", LATENCY_DEFAULT_S, 0.0, LATENCY_MOST_S,
                       &wish.latency_s, &error) != 0 ||
        options_number(arguments, "latency-error", LATENCY_SD_DEFAULT_S, 0.0, LATENCY_MOST_S,
                       &wish.latency_sd_s, &error) != 0 ||
        running_find(options_value(arguments, "site-id"), &running, &error) != 0 ||
        chirp(&wish, &running, &error) != 0) {
        return options_fail("chirp", &error);
    }
    printf("played and marked in %s; play another near the end of the night\n", running.site);
    return EXIT_CODE_SUCCESS;
}

static const struct option_spec options[] = {
    {"player", "CMD", false, "plays a wave file that is named after it (default \"aplay -q\")"},
    {"latency", "S", false, "from starting it to the sound (default 0.1)"},
    {"latency-error", "S", false, "how far that may be off, one sigma (default 0.05)"},
    {"site-id", "ID", false, "which night, where several are being recorded on this machine"},
    {0},
};

const struct command command_chirp = {
    .name = "chirp",
    .summary = "a short sound that recordings of this night are lined up by",
    .options = options,
    .run = run_command,
};
