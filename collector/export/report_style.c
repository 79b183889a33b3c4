/* The report's head and foot: its style, for screen and paper, and its table of contents.
 * Must never ask for anything from outside the page: the page forbids it itself.
 * Called by report.c. */
#include "collector/export/report_page.h"

static const char style[] =
    ":root{color-scheme:light}"
    "html{background:#fff;color:#1a1a1a;font:16px/1.5 Georgia,'DejaVu Serif',serif}"
    "body{margin:0 auto;max-width:50rem;padding:1.5rem 1rem 4rem;overflow-wrap:anywhere}"
    "h1{font-size:1.9rem;line-height:1.2;margin:0 0 .3rem}"
    "h2{border-bottom:2px solid #1a1a1a;font-size:1.35rem;margin:2.6rem 0 "
    ".8rem;padding-bottom:.2rem}"
    "h3{font-size:1.1rem;margin:2rem 0 .4rem}h4{font-size:1rem;margin:1rem 0 .2rem}"
    "p{margin:.5rem 0}ul,ol{margin:.4rem 0;padding-left:1.4rem}"
    "nav ol{columns:2}a{color:#1f3f77}"
    "table{overflow-wrap:break-word;border-collapse:collapse;font-size:.85rem;margin:.6rem "
    "0;width:100%}"
    "caption{font-weight:700;padding:.3rem 0;text-align:left}"
    "th,td{border-bottom:1px solid #b9b9b9;padding:.2rem .5rem .2rem 0;text-align:left;"
    "vertical-align:top}"
    "td{font-variant-numeric:tabular-nums}"
    "thead{display:table-header-group}"
    ".wide{overflow-x:auto}"
    ".note{color:#4a4a4a;font-size:.9rem}"
    ".box{border:1px solid #1a1a1a;padding:.2rem 1rem .4rem}"
    ".alert{border-left:.4rem solid #8a1c1c;padding-left:.8rem}"
    "code{font:.85rem/1.4 'DejaVu Sans Mono',monospace;overflow-wrap:anywhere}"
    "pre{background:#f3f3f3;margin:.4rem 0;padding:.5rem;white-space:pre-wrap}"
    "svg{display:block;height:auto;margin:.5rem 0;max-width:100%}"
    "svg text{fill:#1a1a1a;font:11px 'DejaVu Sans',sans-serif}"
    ".s{fill:#4a4a4a;font-size:9.5px}"
    ".l{fill:none;stroke:#1f3f77;stroke-width:1}"
    ".a{fill:none;stroke:#8f8f8f;stroke-width:.6}"
    ".m{fill:#d9d9d9}.g{fill:none;stroke:#1a1a1a;stroke-width:2}"
    ".o{fill:none;stroke:#8a1c1c;stroke-dasharray:4 3;stroke-width:1.2}.u{fill:#f0d9d9}"
    ".r{fill:#fafafa;stroke:#1a1a1a;stroke-width:1.2}.d{fill:none;stroke:#fff;stroke-width:4}"
    ".n{fill:#fff;stroke:#1f3f77;stroke-width:2}.h{fill:#1f3f77;stroke:#1f3f77;stroke-width:2}"
    ".p{fill:none;stroke:#8a1c1c;stroke-width:2}.e{fill:none;stroke:#8a1c1c;stroke-dasharray:5 3}"
    ".f{fill:#fff;stroke:#8a1c1c}.F{fill:#8a1c1c;stroke:#8a1c1c}"
    "@media print{html{font-size:10.5pt}body{max-width:none;padding:0}nav{display:none}"
    "a{color:inherit;text-decoration:none}.wide{overflow:visible}"
    "h2,h3,h4{break-after:avoid}svg,tr,.box,li{break-inside:avoid}}"
    "@page{margin:16mm 15mm}";

static void put_contents(struct report *report)
{
    static const struct {
        const char *id;
        enum report_text title;
    } parts[] = {
        {"summary", TEXT_SUMMARY},   {"plan", TEXT_PLAN},       {"night", TEXT_LANES},
        {"findings", TEXT_FINDINGS}, {"marks", TEXT_MARKS},     {"clocks", TEXT_CLOCKS},
        {"gaps", TEXT_GAPS},         {"sensors", TEXT_SENSORS}, {"method", TEXT_METHOD},
        {"verify", TEXT_VERIFY},     {"limits", TEXT_LIMITS},   {"cautions", TEXT_CAUTIONS}};
    report_put(report, "<nav aria-label=\"");
    report_say(report, TEXT_CONTENTS, NULL);
    report_put(report, "\"><ol>\n");
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        report_put(report, "<li><a href=\"#%s\">", parts[i].id);
        report_say(report, parts[i].title, NULL);
        report_put(report, "</a></li>\n");
    }
    report_put(report, "</ol></nav>\n<section>\n");
}

void report_page_begin(struct report *report)
{
    char zone[TIMEFMT_SIZE];
    char start[TIMEFMT_SIZE];
    char utc[TIMEFMT_SIZE];
    char length[TIMEFMT_SIZE];
    const struct night_info *info = &report->info;
    const char *title = report->site->title[0] != '\0' ? report->site->title : report->site->id;
    timefmt_local(info->start_ns, start, zone);
    timefmt_rfc3339(info->start_ns, utc);
    timefmt_duration(info->end_ns - info->start_ns, length);
    report_put(report,
               "<!DOCTYPE html>\n<html lang=\"%s\">\n<head>\n<meta charset=\"utf-8\">\n"
               "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
               "style-src 'unsafe-inline'\">\n"
               "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>",
               report->language->code);
    report_say(report, TEXT_TITLE, title, NULL);
    report_put(report, "</title>\n<style>");
    (void)text_append(&report->text, style, sizeof style - 1);
    report_put(report, "</style>\n</head>\n<body>\n<main>\n<h1>");
    report_say(report, TEXT_TITLE, title, NULL);
    report_put(report, "</h1>\n<p class=\"note\">");
    report_say(report, TEXT_NIGHT_OF, info->id, start, zone, utc,
               info->end_ns != 0 ? length : report->language->texts[TEXT_NOT_CLOSED], NULL);
    report_put(report, "</p>\n");
    put_contents(report);
}

void report_page_end(struct report *report)
{
    char analysis[VALUE_SIZE];
    (void)snprintf(analysis, sizeof analysis, "%d", report->info.analysis);
    report_put(report, "</section>\n<p class=\"note\">");
    report_say(report, TEXT_FOOT, analysis, ROOMWAKE_VERSION, NULL);
    report_put(report, "</p>\n</main>\n</body>\n</html>\n");
}
