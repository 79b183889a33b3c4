/* The sensors: scale, rate, what each saw, and what the quiet spell taught of it.
 * Must never call a scale that nobody checked a calibration. Called by report.c. */
#include "collector/export/report_parts.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "collector/alert/sentence.h"
#include "collector/night/window.h"
#include "common/timefmt.h"

static int put_range(struct report *report, uint32_t node, const struct channel *channel)
{
    struct night_pixel pixel;
    char low[VALUE_SIZE];
    char high[VALUE_SIZE];
    if (night_read_window(report->reader, node, channel->name, report->start_ns, report->end_ns + 1,
                          1, &pixel, report->error) != 0) {
        return -1;
    }
    report_put(report, "<td>");
    if (pixel.count > 0) {
        sentence_value(pixel.min, channel->unit, low, sizeof low);
        sentence_value(pixel.max, channel->unit, high, sizeof high);
        report_plain(report, low);
        report_put(report, " \xe2\x80\xa6 ");
        report_plain(report, high);
    } else {
        report_say(report, TEXT_NONE, NULL);
    }
    report_put(report, "</td>");
    return 0;
}

/* From where to where the sensor can tell. */
static void put_ends(struct report *report, const struct channel *channel)
{
    char low[VALUE_SIZE];
    char high[VALUE_SIZE];
    report_put(report, "<td>");
    if (channel->least != channel->most) {
        sentence_value(channel_value(channel, channel->least), channel->unit, low, sizeof low);
        sentence_value(channel_value(channel, channel->most), channel->unit, high, sizeof high);
        report_plain(report, low);
        report_put(report, " \xe2\x80\xa6 ");
        report_plain(report, high);
    } else {
        report_say(report, TEXT_NOT_TOLD, NULL);
    }
    report_put(report, "</td>");
}

/* "uncalibrated", or the day, how, and the figures that were found. */
static void put_calibration(struct report *report, const struct channel *channel)
{
    const struct calibration *found = &channel->calibration;
    char text[VALUE_SIZE];
    char date[TIMEFMT_SIZE];
    report_put(report, "<td>");
    if (!channel_calibrated(channel)) {
        report_say(report, TEXT_UNCALIBRATED, NULL);
    }
    if (found->date_ns != 0) {
        timefmt_rfc3339(found->date_ns, date);
        date[strlen("2024-03-01")] = '\0';
        report_put(report, "%s", channel_calibrated(channel) ? "" : "; ");
        report_say(report, TEXT_CALIBRATED_BY, found->how, date, NULL);
    }
    if (calibration_of_unit(found)) {
        (void)snprintf(text, sizeof text, "%.2g", found->gain_sd * 100);
        report_say(report, TEXT_CALIBRATED_GAIN, text, NULL);
    }
    const struct {
        enum report_text text;
        double value;
        const char *unit;
    } figures[] = {{TEXT_CALIBRATED_OFFSET, found->offset_sd, channel->unit},
                   {TEXT_CALIBRATED_RESIDUAL, found->residual, channel->unit},
                   {TEXT_CALIBRATED_NOISE, found->noise, channel->unit}};
    for (size_t i = 0; i < 3 && found->date_ns != 0; i++) {
        if (!isnan(figures[i].value)) {
            sentence_value(figures[i].value, figures[i].unit, text, sizeof text);
            report_say(report, figures[i].text, text, NULL);
        }
    }
    if (found->date_ns != 0 && !isnan(found->latency_s)) {
        char sd[VALUE_SIZE];
        sentence_value(found->latency_s, "s", text, sizeof text);
        sentence_value(found->latency_sd_s, "s", sd, sizeof sd);
        report_say(report, TEXT_CALIBRATED_LATENCY, text, sd, found->against, NULL);
    }
    report_put(report, "</td>");
}

void report_uncalibrated(struct report *report, const struct channel *channel, double y)
{
    if (!channel_calibrated(channel)) {
        report_put(report, "<text class=\"s\" x=\"0\" y=\"%.1f\">", y);
        report_say(report, TEXT_UNCALIBRATED, NULL);
        report_put(report, "</text>");
    }
}

/* What the sensor told, and what it really did. */
static int put_rate(struct report *report, uint32_t node, const struct channel *channel)
{
    char text[VALUE_SIZE];
    double rate_hz;
    if (night_read_rate(report->reader, node, channel->name, &rate_hz, report->error) != 0) {
        return -1;
    }
    report_put(report, "<td>");
    if (channel->rate_hz > 0) {
        (void)snprintf(text, sizeof text, "%.6g", channel->rate_hz);
        report_say(report, TEXT_RATE_HZ, text, NULL);
    } else {
        report_say(report, TEXT_RATE_ON_CHANGE, NULL);
    }
    if (!isnan(rate_hz)) {
        (void)snprintf(text, sizeof text, "%.6g", rate_hz);
        report_say(report, TEXT_RATE_MEASURED, text, NULL);
    }
    report_put(report, "</td>");
    return 0;
}

static int put_channel(struct report *report, uint32_t node, const struct channel *channel)
{
    char text[VALUE_SIZE];
    char decimal[DECIMAL_TEXT_SIZE];
    report_put(report, "<tr>");
    report_cell(report, report_node(report, node));
    report_cell(report, report_node_room(report, node));
    report_cell(report, channel->name);
    if (put_rate(report, node, channel) != 0) {
        return -1;
    }
    decimal_format(channel->step, decimal);
    (void)snprintf(text, sizeof text, "%s %s", decimal, channel->unit);
    report_cell(report, text);
    decimal_format(channel->offset, decimal);
    report_cell(report, decimal);
    put_ends(report, channel);
    put_calibration(report, channel);
    int result = put_range(report, node, channel);
    report_put(report, "</tr>\n");
    return result;
}

static int put_node(struct report *report, uint32_t node)
{
    struct channel channels[NODE_CHANNELS_MAX];
    size_t count = 0;
    if (night_read_channels(report->reader, node, channels, NODE_CHANNELS_MAX, &count,
                            report->error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < count; i++) {
        if (put_channel(report, node, &channels[i]) != 0) {
            return -1;
        }
    }
    return 0;
}

static int put_notice(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                      const char *text)
{
    struct report *report = context;
    char time[TIMEFMT_SIZE];
    if (report->told++ >= ROWS_SHOWN_MAX) {
        return 0;
    }
    timefmt_local(time_ns, time, NULL);
    report_put(report, "<li>");
    report_plain(report, report_node(report, node));
    report_put(report, ", ");
    report_plain(report, quantity);
    report_put(report, ", %s: ", time);
    report_plain(report, text);
    report_put(report, "</li>\n");
    return 0;
}

static void put_setting(struct report *report, enum report_text text, double value)
{
    char number[VALUE_SIZE];
    (void)snprintf(number, sizeof number, "%.6g", value);
    report_put(report, "<li>");
    report_say(report, text, number, NULL);
    report_put(report, "</li>\n");
}

static void put_settings(struct report *report)
{
    const struct site *site = report->site;
    report_tag(report, "h3", TEXT_SETTINGS);
    report_put(report, "<ul>\n");
    put_setting(report, TEXT_SETTING_MAINS, site->mains_hz);
    put_setting(report, TEXT_SETTING_BASELINE, site->baseline_s);
    put_setting(report, TEXT_SETTING_FALSE, site->false_onsets_per_hour);
    put_setting(report, TEXT_SETTING_ALERT, site->alert_limit_per_night);
    put_setting(report, TEXT_SETTING_ORDER, site->order_confidence * 100);
    report_put(report, "</ul>\n");
}

int report_sensors(struct report *report)
{
    static const enum report_text heads[] = {
        TEXT_COLUMN_NODE,  TEXT_COLUMN_ROOM,   TEXT_COLUMN_CHANNEL, TEXT_COLUMN_RATE,
        TEXT_COLUMN_STEP,  TEXT_COLUMN_OFFSET, TEXT_COLUMN_ENDS,    TEXT_COLUMN_CALIBRATION,
        TEXT_COLUMN_RANGE, TEXT_COUNT};
    report_section(report, "sensors", TEXT_SENSORS);
    report_tag(report, "p", TEXT_SENSORS_ABOUT);
    report_tag(report, "p", TEXT_SENSORS_CALIBRATION);
    report_table(report, TEXT_SENSORS, heads);
    for (uint32_t node = 0; node < report->site->node_count; node++) {
        if (put_node(report, node) != 0) {
            return -1;
        }
    }
    report_put(report, "</tbody></table></div>\n");
    report_tag(report, "h3", TEXT_QUIET);
    report_tag(report, "p", TEXT_QUIET_ABOUT);
    report_put(report, "<ul>\n");
    report->told = 0;
    if (night_each_notice(report->reader, report->options->analysis, put_notice, report,
                          report->error) != 0) {
        return -1;
    }
    if (report->told == 0) {
        report_tag(report, "li", TEXT_NONE);
    }
    report_put(report, "</ul>\n");
    put_settings(report);
    return report_flush(report);
}
