/* The first place that is there counts; a trigger's own rate comes after it, since it decides.
 * Must never write a rate that the kernel did not offer, where it offers some. Called by
 * iio_buffer.c. */
#include "node/drivers/iio_rate.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "node/drivers/sysfs_ask.h"

#define TRIGGERS_MAX 32

/* "12.5 25 50", or "[1 0.5 400]": least, step, most. Returns what comes nearest. */
static double choose(const char *offered, double wanted_hz)
{
    double least, step, most;
    double best_hz = wanted_hz;
    double off = INFINITY;
    char *end;
    if (sscanf(offered, "[%lf %lf %lf]", &least, &step, &most) == 3 && step > 0 && least <= most) {
        double steps = round((wanted_hz - least) / step);
        return fmin(fmax(least + steps * step, least), most);
    }
    for (const char *at = offered;; at = end) {
        double one_hz = strtod(at, &end);
        if (end == at) {
            return best_hz;
        }
        if (one_hz > 0 && fabs(one_hz - wanted_hz) < off) {
            off = fabs(one_hz - wanted_hz);
            best_hz = one_hz;
        }
    }
}

/* `prefix` stands right before the setting's name. 1: the setting is not there. */
static int set_at(const char *folder, const char *prefix, int patience_ms, double *rate_hz,
                  struct error *error)
{
    char path[SYSFS_PATH_SIZE], rest[96], text[SYSFS_TEXT_SIZE], offered[SYSFS_TEXT_SIZE] = "";
    struct error why;
    (void)snprintf(rest, sizeof rest, "%ssampling_frequency_available", prefix);
    if (sysfs_join(path, folder, rest, error)) {
        return -1;
    }
    bool offers = sysfs_ask_text(path, patience_ms, offered, sizeof offered, &why) == 0;
    (void)snprintf(text, sizeof text, "%.9g", offers ? choose(offered, *rate_hz) : *rate_hz);
    (void)snprintf(rest, sizeof rest, "%ssampling_frequency", prefix);
    if (sysfs_join(path, folder, rest, error)) {
        return -1;
    }
    if (sysfs_ask_write(path, patience_ms, text, &why)) {
        return why.code == ERROR_NOT_FOUND ? 1
                                           : error_set(error, ERROR_IO, "%s%s%s", why.text,
                                                       offers ? "; it takes " : "", offered);
    }
    if (sysfs_ask_text(path, patience_ms, text, sizeof text, error)) {
        return -1;
    }
    double took_hz = strtod(text, NULL);
    if (!(took_hz > 0)) {
        return error_set(error, ERROR_IO, "%s: \"%.20s\" is no rate", path, text);
    }
    *rate_hz = took_hz;
    return 0;
}

static int set_device(const struct iio_files *files, double *rate_hz, struct error *error)
{
    char prefix[IIO_NAME_SIZE + 1];
    double wanted_hz = *rate_hz;
    int got = 1;
    for (size_t i = 0; i < files->count && (i == 0 || got == 0); i++) {
        (void)snprintf(prefix, sizeof prefix, "%s_", files->names[i]);
        *rate_hz = wanted_hz;
        got = set_at(files->folder, prefix, files->patience_ms, rate_hz, error);
    }
    if (got == 1) {
        char stem[IIO_NAME_SIZE];
        iio_files_stem(files, 0, stem);
        (void)snprintf(prefix, sizeof prefix, "%s_", stem);
        got = set_at(files->folder, prefix, files->patience_ms, rate_hz, error);
    }
    if (got == 1) {
        got = set_at(files->folder, "", files->patience_ms, rate_hz, error);
    }
    return got == 1 ? set_at(files->folder, "buffer/", files->patience_ms, rate_hz, error) : got;
}

/* The folder of the trigger that is called so. 1: none is. */
static int find_trigger(const struct iio_files *files, const char *trigger,
                        char folder[SYSFS_PATH_SIZE], struct error *error)
{
    char rest[64], path[SYSFS_PATH_SIZE], text[SYSFS_TEXT_SIZE];
    struct error why;
    for (int i = 0; i < TRIGGERS_MAX; i++) {
        (void)snprintf(rest, sizeof rest, "bus/iio/devices/trigger%d", i);
        if (sysfs_join(folder, files->root, rest, error) ||
            sysfs_join(path, folder, "name", error)) {
            return -1;
        }
        if (sysfs_ask_text(path, files->patience_ms, text, sizeof text, &why) == 0 &&
            strcmp(text, trigger) == 0) {
            return 0;
        }
    }
    return 1;
}

int iio_rate_set(const struct iio_files *files, const char *trigger, double *rate_hz,
                 struct error *error)
{
    char folder[SYSFS_PATH_SIZE];
    double wanted_hz = *rate_hz;
    if (set_device(files, rate_hz, error) < 0) {
        return -1;
    }
    int got = trigger[0] ? find_trigger(files, trigger, folder, error) : 1;
    if (got == 0) {
        double own_hz = wanted_hz;
        got = set_at(folder, "", files->patience_ms, &own_hz, error);
        *rate_hz = got == 0 ? own_hz : *rate_hz;
    }
    return got < 0 ? -1 : 0;
}
