/* Words, tags and names of the report.
 * Must never put a value on the page that was not made harmless.
 * Called by the parts of the report. */
#include "collector/export/report_page.h"

#include <inttypes.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "collector/export/plain.h"

#define PLACES 9

void report_put(struct report *report, const char *format, ...)
{
    char piece[2048];
    va_list arguments;
    va_start(arguments, format);
    int length = vsnprintf(piece, sizeof piece, format, arguments);
    va_end(arguments);
    if (length < 0 || (size_t)length >= sizeof piece) {
        report->text.failed = true;
        return;
    }
    (void)text_append(&report->text, piece, (size_t)length);
}

void report_plain(struct report *report, const char *words)
{
    plain_append_attribute(&report->text, words);
}

static bool is_ascii(const char *words)
{
    while (*words && (unsigned char)*words < 0x80) {
        words++;
    }
    return *words == '\0';
}

/* A value within a sentence: whatever its script's direction, the sentence keeps its own (Unicode's
 * isolates, U+2068 and U+2069). */
static void put_value(struct report *report, const char *value)
{
    bool ascii = is_ascii(value);
    /* NOLINTNEXTLINE(misc-misleading-bidirectional): they are what the value is shut in by. */
    (void)text_append(&report->text, "\xe2\x81\xa8", ascii ? 0 : 3);
    report_plain(report, value);
    (void)text_append(&report->text, "\xe2\x81\xa9", ascii ? 0 : 3);
}

void report_say(struct report *report, enum report_text text, ...)
{
    const char *values[PLACES] = {NULL};
    va_list arguments;
    va_start(arguments, text);
    for (size_t i = 0; i < PLACES; i++) {
        values[i] = va_arg(arguments, const char *);
        if (!values[i]) {
            break;
        }
    }
    va_end(arguments);
    for (const char *at = report->language->texts[text]; *at;) {
        size_t plain = strcspn(at, "{");
        if (plain > 0) {
            char words[1024];
            plain = plain < sizeof words ? plain : sizeof words - 1;
            memcpy(words, at, plain);
            words[plain] = '\0';
            report_plain(report, words);
            at += plain;
            continue;
        }
        size_t place = at[1] >= '1' && at[1] <= '9' && at[2] == '}' ? (size_t)(at[1] - '1') : 0;
        put_value(report, values[place] ? values[place] : "");
        at += 3;
    }
}

void report_tag(struct report *report, const char *tag, enum report_text text)
{
    report_put(report, "<%s>", tag);
    report_say(report, text, NULL);
    report_put(report, "</%s>\n", tag);
}

void report_section(struct report *report, const char *id, enum report_text title)
{
    report_put(report, "</section>\n<section id=\"%s\" aria-labelledby=\"h-%s\">\n<h2 id=\"h-%s\">",
               id, id, id);
    report_say(report, title, NULL);
    report_put(report, "</h2>\n");
}

void report_table(struct report *report, enum report_text caption, const enum report_text *heads)
{
    report_put(report, "<div class=\"wide\" tabindex=\"0\" role=\"group\" aria-label=\"");
    report_say(report, caption, NULL);
    report_put(report, "\"><table><caption>");
    report_say(report, caption, NULL);
    report_put(report, "</caption><thead><tr>");
    for (size_t i = 0; heads[i] != TEXT_COUNT; i++) {
        report_put(report, "<th scope=\"col\">");
        report_say(report, heads[i], NULL);
        report_put(report, "</th>");
    }
    report_put(report, "</tr></thead><tbody>\n");
}

void report_cell(struct report *report, const char *words)
{
    report_put(report, "<td>");
    report_plain(report, words);
    report_put(report, "</td>");
}

int report_flush(struct report *report)
{
    const struct export_options *options = report->options;
    if (options->stop && *options->stop) {
        return error_set(report->error, ERROR_STATE, "interrupted; nothing was written");
    }
    return write_text(&report->text, report->out, true, report->error);
}

const char *report_room(const struct report *report, size_t room)
{
    const struct site *site = report->site;
    if (room >= site->room_count) {
        return "?";
    }
    return site->rooms[room].title[0] != '\0' ? site->rooms[room].title : site->rooms[room].id;
}

const char *report_node_room(const struct report *report, uint32_t node)
{
    return node < report->site->node_count ? report_room(report, report->site->nodes[node].room)
                                           : "?";
}

const char *report_node(const struct report *report, uint32_t node)
{
    return node < report->site->node_count ? report->site->nodes[node].id : "?";
}

void report_number(uint64_t number, char text[VALUE_SIZE])
{
    char digits[VALUE_SIZE];
    int length = snprintf(digits, sizeof digits, "%" PRIu64, number);
    size_t at = 0;
    for (int i = 0; i < length; i++) {
        if (i > 0 && (length - i) % 3 == 0) {
            memcpy(text + at, "\xe2\x80\xaf", 3); /* a narrow space that doesn't break */
            at += 3;
        }
        text[at++] = digits[i];
    }
    text[at] = '\0';
}

const char *report_cause(const struct report *report, enum cause_kind cause)
{
    return report->language->causes[cause < CAUSE_COUNT ? cause : CAUSE_UNEXPLAINED];
}

/* Two digits in plain notation. */
static void two_digits(double value, char text[VALUE_SIZE])
{
    int places = 1 - (int)floor(log10(value));
    (void)snprintf(text, VALUE_SIZE, "%.*f", places < 0 ? 0 : places, value);
    char *point = strchr(text, '.');
    for (char *end = text + strlen(text); point && (end[-1] == '0' || end[-1] == '.'); end--) {
        end[-1] = '\0';
        if (end - 1 == point) {
            break;
        }
    }
}

void report_rate(const struct report *report, double per_night, char text[VALUE_SIZE])
{
    if (!isfinite(per_night) || per_night < 0) {
        (void)snprintf(text, VALUE_SIZE, "%s", report->language->texts[TEXT_CHANCE_UNKNOWN]);
    } else if (per_night < 1e-6) {
        const char *words = report->language->texts[TEXT_CHANCE_LESS];
        size_t before = strcspn(words, "{");
        const char *after = strchr(words, '}');
        (void)snprintf(text, VALUE_SIZE, "%.*s0.000001%s", (int)before, words,
                       after ? after + 1 : "");
    } else {
        two_digits(per_night < 1e9 ? per_night : 1e9, text);
    }
}
