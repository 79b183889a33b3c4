/* What the reader's files share. Must never be included outside reader*.c. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_READER_INTERNAL_H
#define ROOMWAKE_COLLECTOR_NIGHT_READER_INTERNAL_H

#include <sqlite3.h>

#include "collector/night/codec.h"
#include "collector/night/reader.h"
#include "collector/night/sql.h"

struct night_reader {
    char *path;
    sqlite3 *db;
    struct codec *codec;
    int chosen;          /* the analysis that 0 means; 0: the newest finished one */
    struct error damage; /* why it opened only as far as it can be read; "" for a sound one */
};

/* ERROR_FORMAT where a number in the night would lead outside a list: of nodes, of rooms. */
int reader_check(struct night_reader *reader, struct error *error);
int reader_check_site(struct night_reader *reader, const struct site *site, struct error *error);

/* Whether the file has fewer bytes than its head says, and how many, in words. */
#define READER_CUT_SIZE 96
bool reader_cut_short(const char *path, char text[READER_CUT_SIZE]);

/* Puts the night's path before an error's text and returns -1. */
int reader_fail(const struct night_reader *reader, struct error *error);
int reader_prepare(struct night_reader *reader, const char *sql, sqlite3_stmt **statement,
                   struct error *error);
/* `analysis`; where that is 0 the chosen one, or the newest finished one. */
int reader_analysis(struct night_reader *reader, int analysis, int64_t *out, struct error *error);

/* name, unit, rate_hz, period_ps, step, offset and calibration, in that order. */
#define READER_CHANNEL_COLUMNS                                                                     \
    "channel.name, channel.unit, channel.rate_hz, channel.period_ps, channel.step_mantissa,"       \
    " channel.step_exponent, channel.offset_mantissa, channel.offset_exponent,"                    \
    " channel.least, channel.most, channel.calibration"
void reader_get_channel(struct sql_columns *row, struct channel *channel);

/* The columns of a disturbance after its analysis, in the order of the table. */
#define READER_DISTURBANCE_COLUMNS                                                                 \
    "id, node, quantity, band, unit, onset_ns, pick_sd_ns, sampling_sd_ns, clock_sd_ns, end_ns,"   \
    " closed_ns, peak_ns, peak_value, peak_score, baseline_value, baseline_scale, threshold,"      \
    " settle_peak_score, settle_step, mains_before, mains_after, one_sample, clipped, returned,"   \
    " calibrated, peak_axis_x, peak_axis_y, peak_axis_z, repeat_hz, rise_s, half_s, left_value, "  \
    "left_axis_x,"                                                                                 \
    " left_axis_y, left_axis_z, previous_s, tick_s, ticks, along_score,"                           \
    " across_score, across_least, alike"
void reader_get_disturbance(struct sql_columns *row, struct disturbance *disturbance);

/* What was added to a night later has a row of its own for it. */
#define READER_LONGEST "SELECT max(value) FROM meta WHERE key GLOB 'longest_block_ns*'"
/* How long the longest frame is: what begins this much before a window may reach into it. */
int reader_longest_ns(struct night_reader *reader, int64_t *out, struct error *error);
/* from_ns - longest, without overflow. */
int64_t reader_reach(int64_t from_ns, int64_t longest_ns);

/* Steps through `statement` (finalized at the end) and calls `row` for each. A non-zero return of
 * `row` ends it and is returned; an error of SQLite is -1. */
int reader_each(struct night_reader *reader, sqlite3_stmt *statement,
                int (*row)(void *context, struct sql_columns *columns), void *context,
                struct error *error);

/* As night_blocks_open, only blocks of this channel name (NULL: all). */
int reader_blocks_open(struct night_reader *reader, size_t node, const char *channel,
                       int64_t from_ns, int64_t to_ns, struct night_blocks **cursor,
                       struct error *error);

#endif
