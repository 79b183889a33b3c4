/* The report: its parts in their order.
 * Must never say more than the night holds. Called by cmd_report.c and the bundle. */
#include "collector/export/report.h"

#include "collector/export/report_parts.h"

static int put_begin(struct report *report)
{
    report_page_begin(report);
    return report_flush(report);
}

static int put_end(struct report *report)
{
    report_page_end(report);
    return report_flush(report);
}

int report_write(struct night_reader *reader, const char *night_name,
                 const struct export_options *options, FILE *out, struct error *error)
{
    static int (*const parts[])(struct report *) = {
        report_outline_read, put_begin,     report_summary,  report_plan, report_lanes,
        report_findings,     report_marks,  report_clocks,   report_gaps, report_sensors,
        report_method,       report_verify, report_warnings, put_end,
    };
    const size_t count = sizeof parts / sizeof *parts;
    struct report report = {.reader = reader,
                            .options = options,
                            .language = &report_english,
                            .night_name = night_name,
                            .out = out,
                            .error = error};
    int result = night_reader_hold(reader, error);
    for (size_t i = 0; i < count && result == 0; i++) {
        result = parts[i](&report);
    }
    night_reader_release(reader);
    report_outline_free(&report);
    return result;
}
