/* The last boot's channels, each with what the night's own blocks tell of it.
 * Must never print a name as it came. Called by review.c. */
#include "collector/export/review_sensors.h"

#include <math.h>

#include "collector/export/plain.h"

static void write_uncalibrated(const struct channel *channels, size_t count, FILE *out)
{
    size_t told = 0;
    for (size_t i = 0; i < count; i++) {
        if (!channel_calibrated(&channels[i])) {
            fprintf(out, "%s", told++ ? ", " : ", uncalibrated: ");
            plain_print(out, channels[i].name);
        }
    }
    (void)fputc('\n', out);
}

static int write_rates(struct night_reader *reader, uint32_t node, const struct channel *channels,
                       size_t count, FILE *out, struct error *error)
{
    size_t told = 0;
    for (size_t i = 0; i < count; i++) {
        double rate_hz;
        if (night_read_rate(reader, node, channels[i].name, &rate_hz, error) != 0) {
            return -1;
        }
        if (!isnan(rate_hz)) {
            fprintf(out, "%s", told++ ? ", " : "    samples a second, measured: ");
            plain_print(out, channels[i].name);
            fprintf(out, " %.6g", rate_hz);
        }
    }
    if (told > 0) {
        (void)fputc('\n', out);
    }
    return 0;
}

int review_sensors(struct night_reader *reader, uint32_t node, FILE *out, struct error *error)
{
    struct channel channels[NODE_CHANNELS_MAX];
    size_t count = 0;
    if (night_read_channels(reader, node, channels, NODE_CHANNELS_MAX, &count, error) != 0) {
        return -1;
    }
    write_uncalibrated(channels, count, out);
    return write_rates(reader, node, channels, count, out, error);
}
