/* Method and sources, how to check, limits and cautions.
 * Must never leave out what the seal does not prove. Called by report.c. */
#include "collector/export/report_parts.h"

static void put_list(struct report *report, const char *tag, const char *const *items)
{
    report_put(report, "<%s>\n", tag);
    for (size_t i = 0; items[i]; i++) {
        report_put(report, "<li>");
        report_plain(report, items[i]);
        report_put(report, "</li>\n");
    }
    report_put(report, "</%s>\n", tag);
}

int report_method(struct report *report)
{
    const struct report_language *language = report->language;
    report_section(report, "method", TEXT_METHOD);
    put_list(report, "ol", language->methods);
    report_tag(report, "h3", TEXT_SOURCES);
    report_put(report, "<p>");
    for (size_t i = 0; language->sources[i]; i++) {
        report_plain(report, language->sources[i]);
        report_put(report, "<br>\n");
    }
    report_put(report, "</p>\n");
    return report_flush(report);
}

/* 64 hex digits in groups of eight, as they are read out. */
static void put_digits(struct report *report, enum report_text text, const char *digits)
{
    report_put(report, "<h3>");
    report_say(report, text, NULL);
    report_put(report, "</h3>\n<p><code>");
    if (digits[0] == '\0') {
        report_say(report, TEXT_NOT_TOLD, NULL);
    }
    for (size_t i = 0; digits[i]; i++) {
        char digit[2] = {digits[i], '\0'};
        report_put(report, "%s", i > 0 && i % 8 == 0 ? " " : "");
        report_plain(report, digit);
    }
    report_put(report, "</code></p>\n");
}

static void put_command(struct report *report, enum report_text about, const char *before,
                        const char *after)
{
    report_put(report, "<p>");
    report_say(report, about, NULL);
    report_put(report, "</p>\n<pre><code>%s", before);
    report_plain(report, report->night_name);
    report_plain(report, after);
    report_put(report, "</code></pre>\n");
}

int report_verify(struct report *report)
{
    char key[65];
    char root[80];
    if (night_read_key(report->reader, key, report->error) != 0) {
        return -1;
    }
    report_section(report, "verify", TEXT_VERIFY);
    report_put(report, "<p>");
    report_say(report, TEXT_VERIFY_ABOUT, report->night_name, NULL);
    report_put(report, "</p>\n");
    put_digits(report, TEXT_VERIFY_ROOT, report->seal.root);
    put_digits(report, TEXT_VERIFY_KEY, key);
    (void)snprintf(root, sizeof root, "%s%s", report->seal.root[0] != '\0' ? " --root " : "",
                   report->seal.root);
    put_command(report, TEXT_VERIFY_COMMAND, "roomwake verify ", root);
    put_command(report, TEXT_VERIFY_QUERY, "sqlite3 ",
                " \"SELECT id, datetime(start_ns / 1000000000, 'unixepoch'), cause, nodes,"
                " chance_per_night FROM coincidence WHERE final ORDER BY start_ns\"");
    put_command(report, TEXT_VERIFY_SAMPLES, "roomwake export ", " --format csv --out samples.csv");
    report_tag(report, "p", TEXT_VERIFY_PROVES);
    return report_flush(report);
}

int report_warnings(struct report *report)
{
    report_section(report, "limits", TEXT_LIMITS);
    put_list(report, "ul", report->language->limits);
    report_section(report, "cautions", TEXT_CAUTIONS);
    put_list(report, "ul", report->language->cautions);
    return report_flush(report);
}
