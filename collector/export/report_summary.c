/* The summary: what was found, in plain words, for somebody who reads nothing else.
 * Must never claim more than "unexplained by the causes tested". Called by report.c. */
#include "collector/export/report_parts.h"

#include <inttypes.h>
#include <stdio.h>

/* Chances are per night of this length. */
#define NIGHT_S 28800.0

static void say_count(struct report *report, enum report_text text, uint64_t count)
{
    char number[VALUE_SIZE];
    report_number(count, number);
    report_put(report, "<p>");
    report_say(report, text, number, NULL);
    report_put(report, "</p>\n");
}

static size_t count_cause(const struct report *report, enum cause_kind cause)
{
    size_t count = 0;
    for (size_t i = 0; i < report->finding_count; i++) {
        count += report->findings[i].cause == cause;
    }
    return count;
}

static void say_ordinary(struct report *report)
{
    size_t ordinary = report->finding_count - count_cause(report, CAUSE_UNEXPLAINED);
    if (ordinary == 0) {
        return;
    }
    say_count(report, TEXT_SUMMARY_ORDINARY, ordinary);
    report_put(report, "<ul>\n");
    for (int cause = CAUSE_UNEXPLAINED + 1; cause < CAUSE_COUNT; cause++) {
        size_t count = count_cause(report, (enum cause_kind)cause);
        if (count > 0) {
            char number[VALUE_SIZE];
            report_number(count, number);
            report_put(report, "<li>");
            report_say(report, TEXT_SUMMARY_CAUSE, report_cause(report, (enum cause_kind)cause),
                       number, NULL);
            report_put(report, "</li>\n");
        }
    }
    report_put(report, "</ul>\n");
}

static void say_chance(struct report *report)
{
    double likeliest = -1.0;
    for (size_t i = 0; i < report->finding_count; i++) {
        const struct report_finding *finding = &report->findings[i];
        if (finding->cause == CAUSE_UNEXPLAINED && finding->slides &&
            finding->per_night > likeliest) {
            likeliest = finding->per_night;
        }
    }
    if (likeliest >= 0.0 && report->info.end_ns != 0) {
        double nights = (double)(report->info.end_ns - report->info.start_ns) * 1e-9 / NIGHT_S;
        char rate[VALUE_SIZE];
        report_rate(report, likeliest * nights, rate);
        report_put(report, "<p>");
        report_say(report, TEXT_SUMMARY_CHANCE, rate, NULL);
        report_put(report, "</p>\n");
    }
}

static void say_unexplained(struct report *report)
{
    size_t open = count_cause(report, CAUSE_UNEXPLAINED);
    size_t seen_by_control = 0;
    if (open == 0) {
        report_tag(report, "p", TEXT_SUMMARY_NONE_UNEXPLAINED);
        return;
    }
    say_count(report, TEXT_SUMMARY_UNEXPLAINED, open);
    say_chance(report);
    for (size_t i = 0; i < report->finding_count; i++) {
        seen_by_control +=
            report->findings[i].cause == CAUSE_UNEXPLAINED && report->findings[i].control;
    }
    if (seen_by_control > 0) {
        say_count(report, TEXT_SUMMARY_CONTROL, seen_by_control);
    }
}

static void say_findings(struct report *report)
{
    char alerts[VALUE_SIZE];
    char limit[VALUE_SIZE];
    uint64_t raised = 0;
    if (report->finding_count == 0) {
        report_tag(report, "p", TEXT_SUMMARY_NO_COINCIDENCE);
        return;
    }
    say_count(report, TEXT_SUMMARY_COINCIDENCES, report->finding_count);
    say_ordinary(report);
    say_unexplained(report);
    for (size_t i = 0; i < report->finding_count; i++) {
        raised += report->findings[i].alert;
    }
    if (raised > 0) {
        report_number(raised, alerts);
        report_rate(report, report->site->alert_limit_per_night, limit);
        report_put(report, "<p>");
        report_say(report, TEXT_SUMMARY_ALERTS, alerts, limit, NULL);
        report_put(report, "</p>\n");
    }
}

/* Which times the report shows, and what the other ones would say. */
static void say_clocks(struct report *report)
{
    const struct changes *changes = &report->changes;
    char analysis[VALUE_SIZE], same[VALUE_SIZE], differ[VALUE_SIZE], gone[VALUE_SIZE];
    char fresh[VALUE_SIZE], most[TIMEFMT_SIZE];
    if (report->info.refitted) {
        report_tag(report, "p", TEXT_FITTED_AGAIN);
        return;
    }
    if (report->info.refit == 0) {
        return;
    }
    bool all = changes->differ + changes->gone + changes->fresh == 0;
    report_number((uint64_t)report->info.refit, analysis);
    report_number(changes->same, same);
    report_number(changes->differ, differ);
    report_number(changes->gone, gone);
    report_number(changes->fresh, fresh);
    timefmt_duration(changes->most_ns, most);
    report_put(report, "<p>");
    report_say(report, all ? TEXT_FITTED_SAME : TEXT_FITTED_BESIDE, analysis, same, differ, gone,
               fresh, most, NULL);
    report_put(report, "</p>\n");
}

int report_summary(struct report *report)
{
    static const enum report_text seals[] = {
        [NIGHT_SEAL_HOLDS] = TEXT_SUMMARY_SEAL_HOLDS,
        [NIGHT_SEAL_BROKEN] = TEXT_SUMMARY_SEAL_BROKEN,
        [NIGHT_SEAL_OPEN] = TEXT_SUMMARY_SEAL_OPEN,
    };
    char nodes[VALUE_SIZE];
    char rooms[VALUE_SIZE];
    char samples[VALUE_SIZE];
    report_section(report, "summary", TEXT_SUMMARY);
    report_put(report, "<div class=\"box\"><p>");
    report_number(report->site->node_count, nodes);
    report_number(report->site->room_count, rooms);
    report_number(report->samples, samples);
    report_say(report, TEXT_SUMMARY_SAMPLES, nodes, rooms, samples, NULL);
    report_put(report, "</p>\n");
    say_count(report, TEXT_SUMMARY_DISTURBANCES, report->disturbances);
    say_findings(report);
    if (report->mark_count > 0) {
        say_count(report, TEXT_SUMMARY_MARKS, report->mark_count);
    }
    if (report->gaps > 0) {
        say_count(report, TEXT_SUMMARY_GAPS, report->gaps);
    }
    say_clocks(report);
    report_tag(report, "p", seals[report->seal.state]);
    report_tag(report, "p", TEXT_SUMMARY_CAREFUL);
    report_put(report, "</div>\n");
    return report_flush(report);
}
