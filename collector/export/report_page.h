/* What the parts of the report share: the night's outline, and words and figures on their way out.
 * Must never be included outside report*.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_REPORT_PAGE_H
#define ROOMWAKE_COLLECTOR_EXPORT_REPORT_PAGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "collector/export/changes.h"
#include "collector/export/report_words.h"
#include "collector/export/write.h"
#include "collector/night/reader.h"
#include "common/site.h"
#include "common/text.h"
#include "common/timefmt.h"

/* Figures are drawn in this width and scaled by the browser. */
#define FIGURE_WIDTH 760
#define FINDINGS_SHOWN_MAX 200u
#define FINDINGS_DRAWN_MAX 60u
#define ROWS_SHOWN_MAX 400u /* of marks, of gaps */
#define VALUE_SIZE 64

/* A finding's outline. */
struct report_finding {
    int64_t id;
    int64_t start_ns;
    int64_t end_ns;
    double per_night;
    enum cause_kind cause;
    bool alert;
    bool control;
    bool slides;
    bool shown;
    bool drawn;
};

struct report_mark {
    int64_t id;
    int64_t start_ns;
    int64_t end_ns;
};

struct report {
    struct night_reader *reader;
    const struct export_options *options;
    const struct report_language *language;
    const char *night_name;
    struct site *site;
    struct night_info info;
    struct changes changes; /* by the clocks fitted again, where there are such */
    struct night_seal seal;
    int64_t start_ns; /* of the figures: where samples begin and end */
    int64_t end_ns;
    uint64_t samples;
    uint64_t disturbances;
    uint64_t gaps;
    struct report_finding *findings; /* by id */
    size_t finding_count;
    size_t finding_size;
    struct report_mark *marks;
    size_t mark_count;
    size_t mark_size;
    size_t told; /* rows of the part that is being written */
    struct night_node_summary *nodes;
    struct text text;
    FILE *out;
    struct error *error;
};

/* Reads the outline: everything above. */
int report_outline_read(struct report *report);
void report_outline_free(struct report *report);

/* The text with its places filled: values as text, made harmless, NULL-ended. */
void report_say(struct report *report, enum report_text text, ...);
/* "<p>...</p>" etc. around report_say of a text without places. */
void report_tag(struct report *report, const char *tag, enum report_text text);
/* Markup as it is. */
void report_put(struct report *report, const char *format, ...)
    __attribute__((format(printf, 2, 3)));
/* Somebody else's words. */
void report_plain(struct report *report, const char *words);
/* "<h2 id=...>" */
void report_section(struct report *report, const char *id, enum report_text title);
/* Opens a table with a caption and these column heads, ended by TEXT_COUNT. */
void report_table(struct report *report, enum report_text caption, const enum report_text *heads);
/* A cell of words. */
void report_cell(struct report *report, const char *words);
/* Writes what was gathered, and asks whether to stop. */
int report_flush(struct report *report);

void report_page_begin(struct report *report);
void report_page_end(struct report *report);

/* Names; never NULL. */
const char *report_room(const struct report *report, size_t room);
const char *report_node_room(const struct report *report, uint32_t node);
const char *report_node(const struct report *report, uint32_t node);
/* "1 234 567": groups of three. */
void report_number(uint64_t number, char text[VALUE_SIZE]);
/* "0.004" or "fewer than 0.000001". */
void report_rate(const struct report *report, double per_night, char text[VALUE_SIZE]);
const char *report_cause(const struct report *report, enum cause_kind cause);

#endif
