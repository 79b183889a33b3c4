/* Rounds of file texts to samples with the time of each.
 * Must never invent an even spacing: each sample has the time at which it was read. Called by the
 * drivers over the kernel's files. */
#include "node/drivers/sysfs_channel.h"

#include "common/json.h"

#define HANGS_NS (5 * NS_PER_S)

int sysfs_root(const struct driver_setup *setup, char root[SYSFS_PATH_SIZE], struct error *error)
{
    return json_get_text_or(setup->settings, setup->path, "root", "/sys", root, SYSFS_PATH_SIZE,
                            error);
}

int sysfs_channels_start(struct sysfs_channels *channels, const char paths[][SYSFS_PATH_SIZE],
                         size_t count, double rate_hz, sysfs_count_of count_of,
                         const struct driver_setup *setup, struct error *error)
{
    *channels = (struct sysfs_channels){.count = count,
                                        .rate_hz = rate_hz,
                                        .period_ps = channel_period_ps(rate_hz),
                                        .count_of = count_of};
    channels->opened_ns = setup->clock.mono_ns(setup->clock.context);
    channels->reader = sysfs_reader_start(paths, count, channels->period_ps / 1000, &setup->clock);
    return channels->reader
               ? 0
               : error_set(error, ERROR_MEMORY, "%s: no thread to read with", setup->path);
}

static int tell_round(struct sysfs_channels *channels, const struct sysfs_round *round,
                      const struct driver_sink *sink, struct error *error)
{
    int32_t counts[SYSFS_FILES_MAX];
    if (round->fault[0]) {
        return error_set(error, ERROR_IO, "%s", round->fault);
    }
    for (size_t i = 0; i < channels->count; i++) {
        if (channels->count_of(round->texts[i], &counts[i], error)) {
            return -1;
        }
    }
    if (round->time_ns <= channels->last_ns) {
        return 0;
    }
    for (size_t i = 0; i < channels->count; i++) {
        sink->samples(sink->context, i, round->time_ns, channels->period_ps, &counts[i], 1);
    }
    channels->last_ns = round->time_ns;
    return 0;
}

int sysfs_channels_poll(struct sysfs_channels *channels, int64_t now_ns,
                        const struct driver_sink *sink, int64_t *next_ns, struct error *error)
{
    struct sysfs_round round;
    while (sysfs_reader_take(channels->reader, &round)) {
        if (tell_round(channels, &round, sink, error)) {
            return -1;
        }
    }
    int64_t late_ns = sysfs_reader_late_ns(channels->reader, now_ns);
    if (late_ns > HANGS_NS + channels->period_ps / 1000) {
        return error_set(error, ERROR_IO, "no answer for %.1f s", (double)late_ns / 1e9);
    }
    int64_t period_ns = channels->period_ps / 1000;
    *next_ns = now_ns + (period_ns < NS_PER_S / 20 ? NS_PER_S / 20 : period_ns / 2);
    return 0;
}

/* A round under way bears the time of its middle. */
int64_t sysfs_channels_told_ns(const struct sysfs_channels *channels, int64_t now_ns)
{
    int64_t late_ns = sysfs_reader_late_ns(channels->reader, now_ns);
    int64_t told_ns = now_ns - late_ns;
    return told_ns > channels->last_ns ? told_ns : channels->last_ns + 1;
}
