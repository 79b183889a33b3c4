/* The night's tables. What is written here is what a person finds who opens the file by hand.
 * Must never change the meaning of a column without a new version. Called by writer and reader. */
#include "collector/night/schema.h"

#include <stdint.h>

#include "collector/night/sql.h"
#include "common/channel.h"

_Static_assert(SCHEMA_FANOUT >= NODE_CHANNELS_MAX, "ids of blocks and channels would collide");

#define STRINGIFY(x) #x
#define NUMBER(x) STRINGIFY(x)

/* All times are nanoseconds since 1970-01-01T00:00:00Z (site time) unless they say node. */
static const char *const tables_of_samples =
    "CREATE TABLE meta (key TEXT PRIMARY KEY, value ANY) STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE site (id INTEGER PRIMARY KEY, name TEXT NOT NULL, title TEXT NOT NULL,\n"
    "  file TEXT NOT NULL /* the site file as it was */) STRICT;\n"
    "CREATE TABLE room (id INTEGER PRIMARY KEY, name TEXT NOT NULL, title TEXT NOT NULL,\n"
    "  floor INTEGER NOT NULL) STRICT;\n"
    "CREATE TABLE node (id INTEGER PRIMARY KEY, name TEXT NOT NULL,\n"
    "  room INTEGER NOT NULL REFERENCES room, x_m REAL, y_m REAL, z_m REAL,\n"
    "  control INTEGER NOT NULL) STRICT;\n"
    "CREATE TABLE boot (id INTEGER PRIMARY KEY, node INTEGER NOT NULL REFERENCES node,\n"
    "  boot TEXT NOT NULL /* 16 hex digits */, UNIQUE (node, boot)) STRICT;\n"
    "CREATE TABLE channel (id INTEGER PRIMARY KEY /* boot * 32 + place */,\n"
    "  name TEXT NOT NULL, unit TEXT NOT NULL, rate_hz REAL NOT NULL,\n"
    "  period_ps INTEGER NOT NULL,\n"
    "  /* value = count * step + offset, each mantissa * 10^exponent */\n"
    "  step_mantissa INTEGER NOT NULL, step_exponent INTEGER NOT NULL,\n"
    "  offset_mantissa INTEGER NOT NULL, offset_exponent INTEGER NOT NULL,\n"
    "  least INTEGER NOT NULL, most INTEGER NOT NULL /* counts at the sensor's ends; equal:"
    " not told */,\n"
    "  calibration TEXT /* JSON, in step and offset already; NULL: uncalibrated */,\n"
    "  nth INTEGER NOT NULL UNIQUE /* from 1, in the order in which they were told */,\n"
    "  boot INTEGER AS (id >> 5) VIRTUAL, place INTEGER AS (id & 31) VIRTUAL) STRICT;\n"
    "CREATE TABLE fit (id INTEGER PRIMARY KEY, boot INTEGER NOT NULL REFERENCES boot,\n"
    "  /* site = node + offset_ns + (node - ref_node_ns) * rate_ppt / 1e12 */\n"
    "  ref_node_ns INTEGER NOT NULL, offset_ns INTEGER NOT NULL, rate_ppt INTEGER NOT NULL,\n"
    "  uncertainty_ns INTEGER NOT NULL, growth_ppb INTEGER NOT NULL) STRICT;\n"
    "CREATE TABLE frame (id INTEGER PRIMARY KEY, boot INTEGER NOT NULL REFERENCES boot,\n"
    "  seq INTEGER NOT NULL, start_ns INTEGER, end_ns INTEGER /* NULL: no samples */,\n"
    "  samples INTEGER NOT NULL, fit INTEGER REFERENCES fit /* NULL: clock never known */,\n"
    "  late INTEGER NOT NULL /* 1: came too late for the live detection */,\n"
    "  UNIQUE (boot, seq)) STRICT;\n"
    "/* up to 32 s of one channel: the samples of several messages of one boot */\n"
    "CREATE TABLE block (id INTEGER PRIMARY KEY,\n"
    "  channel INTEGER NOT NULL REFERENCES channel, t0_ns INTEGER NOT NULL,\n"
    "  span_ns INTEGER NOT NULL /* last sample's time - t0_ns */, n INTEGER NOT NULL,\n"
    "  /* whole counts; for decimals (codec 16, 17) values in the unit */\n"
    "  min ANY NOT NULL, max ANY NOT NULL, sum ANY NOT NULL,\n"
    "  clocked INTEGER NOT NULL /* 0: times are the node's own, its clock was never known */,\n"
    "  codec INTEGER NOT NULL REFERENCES codec,\n"
    "  cuts BLOB NOT NULL /* whose messages, and their samples' times */,\n"
    "  times BLOB /* NULL: evenly timed */, samples BLOB NOT NULL) STRICT;\n"
    "CREATE INDEX block_by_start ON block (t0_ns);\n"
    "/* messages that wait until enough have come for a block; empty when the night is closed */\n"
    "CREATE TABLE tail (id INTEGER PRIMARY KEY /* boot * 2^32 + place */,\n"
    "  frame INTEGER NOT NULL REFERENCES frame, blocks BLOB NOT NULL) STRICT;\n"
    "CREATE TABLE zoom (channel INTEGER NOT NULL REFERENCES channel,\n"
    "  block INTEGER NOT NULL REFERENCES block, t0_ns INTEGER NOT NULL, t1_ns INTEGER NOT NULL,\n"
    "  n INTEGER NOT NULL, slack_ns INTEGER NOT NULL /* how uneven the samples' times are */,\n"
    "  runs BLOB /* least and greatest counts of each 64 samples; NULL: read the block */,\n"
    "  PRIMARY KEY (channel, block)) STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE codec (id INTEGER PRIMARY KEY, how TEXT NOT NULL) STRICT;\n";

static const char *const tables_of_findings =
    "CREATE TABLE clock (id INTEGER PRIMARY KEY /* of the same time and node the last counts */,\n"
    "  time_ns INTEGER NOT NULL, node INTEGER NOT NULL REFERENCES node,\n"
    "  sd_ns INTEGER NOT NULL /* one sigma from here on */) STRICT;\n"
    "CREATE INDEX clock_by_time ON clock (time_ns, node);\n"
    "CREATE TABLE gap (id INTEGER PRIMARY KEY, node INTEGER NOT NULL REFERENCES node,\n"
    "  start_ns INTEGER NOT NULL, end_ns INTEGER NOT NULL, reason TEXT NOT NULL) STRICT;\n"
    "CREATE TABLE mark (id INTEGER PRIMARY KEY, start_ns INTEGER NOT NULL,\n"
    "  end_ns INTEGER /* NULL: it goes on until a later row ends it */,\n"
    "  noted_ns INTEGER NOT NULL, room TEXT NOT NULL, who TEXT NOT NULL, text TEXT NOT NULL,\n"
    "  /* the mark (its first row's id) that this row replaces; NULL: a new mark */\n"
    "  corrects INTEGER REFERENCES mark, withdrawn INTEGER NOT NULL) STRICT;\n"
    "/* each mark by its last row, without those that the team took back */\n"
    "CREATE VIEW standing_mark AS SELECT coalesce(corrects, id) AS mark, max(id) AS id, start_ns,\n"
    "  end_ns, noted_ns, room, who, text FROM mark GROUP BY coalesce(corrects, id)\n"
    "  HAVING withdrawn = 0;\n"
    "CREATE TABLE analysis (id INTEGER PRIMARY KEY, why TEXT NOT NULL,\n"
    "  software TEXT NOT NULL, done INTEGER NOT NULL, mains_hz REAL NOT NULL,\n"
    "  baseline_s REAL NOT NULL, false_onsets_per_hour REAL NOT NULL,\n"
    "  alert_limit_per_night REAL NOT NULL, order_confidence REAL NOT NULL) STRICT;\n"
    "CREATE TABLE disturbance (analysis INTEGER NOT NULL REFERENCES analysis,\n"
    "  id INTEGER NOT NULL, node INTEGER NOT NULL REFERENCES node, quantity TEXT NOT NULL,\n"
    "  band TEXT NOT NULL, unit TEXT NOT NULL, onset_ns INTEGER NOT NULL,\n"
    "  pick_sd_ns INTEGER NOT NULL, sampling_sd_ns INTEGER NOT NULL,\n"
    "  clock_sd_ns INTEGER NOT NULL, end_ns INTEGER NOT NULL /* 0: it lasts */,\n"
    "  closed_ns INTEGER NOT NULL, peak_ns INTEGER NOT NULL, peak_value REAL,\n"
    "  peak_score REAL, baseline_value REAL, baseline_scale REAL, threshold REAL,\n"
    "  settle_peak_score REAL, settle_step REAL, mains_before REAL, mains_after REAL,\n"
    "  one_sample INTEGER NOT NULL, clipped INTEGER NOT NULL, returned INTEGER NOT NULL,\n"
    "  calibrated INTEGER NOT NULL,\n"
    "  peak_axis_x REAL, peak_axis_y REAL, peak_axis_z REAL, repeat_hz REAL,\n"
    "  rise_s REAL, half_s REAL, left_value REAL, left_axis_x REAL, left_axis_y REAL,\n"
    "  left_axis_z REAL, previous_s REAL, tick_s REAL, ticks INTEGER NOT NULL,\n"
    "  along_score REAL, across_score REAL, across_least REAL, alike REAL,\n"
    "  PRIMARY KEY (analysis, id)) STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE coincidence (analysis INTEGER NOT NULL REFERENCES analysis,\n"
    "  id INTEGER NOT NULL, kind TEXT NOT NULL, start_ns INTEGER NOT NULL,\n"
    "  end_ns INTEGER NOT NULL, dropped_members INTEGER NOT NULL, witnesses INTEGER NOT NULL,\n"
    "  nodes INTEGER NOT NULL, control INTEGER NOT NULL, first_known INTEGER NOT NULL,\n"
    "  together INTEGER NOT NULL, speed_m_s REAL, speed_low_m_s REAL, speed_high_m_s REAL,\n"
    "  cause TEXT NOT NULL, chance_per_night REAL, p_value REAL, chance_method TEXT NOT NULL,\n"
    "  mark INTEGER REFERENCES mark, final INTEGER NOT NULL, alert INTEGER NOT NULL,\n"
    "  source_x_m REAL, source_y_m REAL, source_sd_m REAL /* NULL: not told */,\n"
    "  source_major_m REAL, source_minor_m REAL, source_major_deg REAL,\n"
    "  PRIMARY KEY (analysis, id)) STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE coincidence_member (analysis INTEGER NOT NULL, coincidence INTEGER NOT NULL,\n"
    "  place INTEGER NOT NULL, disturbance INTEGER NOT NULL,\n"
    "  PRIMARY KEY (analysis, coincidence, place)) STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE coincidence_order (analysis INTEGER NOT NULL, coincidence INTEGER NOT NULL,\n"
    "  place INTEGER NOT NULL, node INTEGER NOT NULL, onset_ns INTEGER NOT NULL,\n"
    "  onset_sd_ns INTEGER NOT NULL, first_probability REAL,\n"
    "  PRIMARY KEY (analysis, coincidence, place)) STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE coincidence_path (analysis INTEGER NOT NULL, coincidence INTEGER NOT NULL,\n"
    "  place INTEGER NOT NULL, room INTEGER NOT NULL, time_ns INTEGER NOT NULL,\n"
    "  PRIMARY KEY (analysis, coincidence, place)) STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE coincidence_reason (analysis INTEGER NOT NULL, coincidence INTEGER NOT NULL,\n"
    "  place INTEGER NOT NULL, text TEXT NOT NULL,\n"
    "  PRIMARY KEY (analysis, coincidence, place)) STRICT, WITHOUT ROWID;\n"
    "CREATE TABLE alert (id INTEGER PRIMARY KEY, analysis INTEGER NOT NULL,\n"
    "  coincidence INTEGER NOT NULL, time_ns INTEGER NOT NULL, text TEXT NOT NULL) STRICT;\n"
    "CREATE TABLE notice (id INTEGER PRIMARY KEY, analysis INTEGER NOT NULL,\n"
    "  node INTEGER NOT NULL REFERENCES node, quantity TEXT NOT NULL,\n"
    "  time_ns INTEGER NOT NULL, text TEXT NOT NULL) STRICT;\n"
    "CREATE TABLE state (id INTEGER PRIMARY KEY, node INTEGER NOT NULL REFERENCES node,\n"
    "  time_ns INTEGER NOT NULL, json TEXT NOT NULL) STRICT;\n"
    "CREATE TABLE log (id INTEGER PRIMARY KEY, time_ns INTEGER NOT NULL, level TEXT NOT NULL,\n"
    "  text TEXT NOT NULL) STRICT;\n"
    "CREATE VIEW question AS SELECT id, time_ns, text ->> 'session' AS session,\n"
    "  text ->> 'what' AS what, text ->> 'nth' AS nth, text ->> 'length_s' AS length_s,\n"
    "  text ->> 'text' AS text FROM log WHERE level = 'question';\n";

/* Rows of all tables above as leaves of hash trees, RFC 6962 sec. 2.1: see seal_tree.c. */
static const char *const tables_of_seals =
    "CREATE TABLE seal (id INTEGER PRIMARY KEY,\n"
    "  what TEXT NOT NULL /* so far, samples, analysis */,\n"
    "  analysis INTEGER NOT NULL /* 0: the samples */, time_ns INTEGER NOT NULL,\n"
    "  leaves INTEGER NOT NULL, root BLOB NOT NULL /* over the seal's rows in seal_tree */,\n"
    "  public_key BLOB NOT NULL, signature BLOB NOT NULL /* Ed25519 */) STRICT;\n"
    "CREATE TABLE seal_tree (seal INTEGER NOT NULL REFERENCES seal, place INTEGER NOT NULL,\n"
    "  tree TEXT NOT NULL, leaves INTEGER NOT NULL, root BLOB NOT NULL,\n"
    "  PRIMARY KEY (seal, place)) STRICT, WITHOUT ROWID;\n"
    "/* which row of a span was changed: see seal_clue.h */\n"
    "CREATE TABLE seal_clue (analysis INTEGER NOT NULL, tree TEXT NOT NULL,\n"
    "  span INTEGER NOT NULL, leaves INTEGER NOT NULL, clue BLOB NOT NULL,\n"
    "  PRIMARY KEY (analysis, tree, span)) STRICT, WITHOUT ROWID;\n";

static const char *const codecs =
    "INSERT INTO codec VALUES\n"
    "(0, 'counts as int32, little-endian'),\n"
    "(1, 'order (1 byte), seeds (zigzag varints: the mean for order 0, else the first counts),"
    " then zigzag residuals of that order as Rice bits: per 256 residuals a parameter k in 5 bits;"
    " a residual is its high part in ones and a zero, then k bits; 24 ones mean 32 plain bits'),\n"
    "(2, 'order and seeds as 1, then the residuals'' byte planes, lowest first, under zstd'),\n"
    "(3, 'linear prediction: order (1 byte, 128 more: 16 bits suffice), shift (1 byte), mean and"
    " taps (zigzag varints); the first residuals are differences from the sample before (at first:"
    " the mean), then from mean + (sum of tap j * (sample before by j - mean)) >> shift; zigzag,"
    " Rice bits as 1'),\n"
    "(4, 'as 3, the residuals as 2'),\n"
    "(16, 'per sample zigzag varints: change of the exponent of ten, mantissa'),\n"
    "(17, 'as 16, under zstd');\n";

int schema_prepare(sqlite3 *db, struct error *error)
{
    return sql_exec(db, "PRAGMA page_size=8192; PRAGMA secure_delete=OFF", error);
}

int schema_create(sqlite3 *db, struct error *error)
{
    if (sql_exec(db, tables_of_samples, error) != 0 ||
        sql_exec(db, tables_of_findings, error) != 0 || sql_exec(db, tables_of_seals, error) != 0 ||
        sql_exec(db, codecs, error) != 0) {
        return -1;
    }
    return sql_exec(db,
                    "PRAGMA application_id=" NUMBER(
                        SCHEMA_APPLICATION_ID) ";"
                                               "PRAGMA user_version=" NUMBER(SCHEMA_VERSION),
                    error);
}

int schema_check(sqlite3 *db, struct error *error)
{
    int64_t id = 0;
    int64_t version = 0;
    if (sql_query_int(db, "PRAGMA application_id", &id, error) != 0 ||
        sql_query_int(db, "PRAGMA user_version", &version, error) != 0) {
        return -1;
    }
    if (id != SCHEMA_APPLICATION_ID) {
        return error_set(error, ERROR_FORMAT, "not a night");
    }
    if (version > SCHEMA_VERSION) {
        return error_set(error, ERROR_VERSION,
                         "made by a newer Roomwake (night version %d, this program reads %d)",
                         (int)version, SCHEMA_VERSION);
    }
    if (version < SCHEMA_VERSION) {
        return error_set(error, ERROR_FORMAT,
                         version < 1 ? "not a night: version %d"
                                     : "night version %d: export it with the Roomwake that made it"
                                       " and import it again",
                         (int)version);
    }
    return 0;
}

int schema_distrust(sqlite3 *db, struct error *error)
{
    if (sqlite3_db_config(db, SQLITE_DBCONFIG_DEFENSIVE, 1, (int *)NULL) != SQLITE_OK ||
        sqlite3_db_config(db, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, (int *)NULL) != SQLITE_OK) {
        return sql_fail(db, error);
    }
    return sql_exec(db, "PRAGMA cell_size_check=ON", error);
}

/* SQLite refuses a file with fewer pages than its head says unless its schema may be written. */
int schema_bear_damage(sqlite3 *db, struct error *error)
{
    if (sqlite3_db_config(db, SQLITE_DBCONFIG_TRUSTED_SCHEMA, 0, (int *)NULL) != SQLITE_OK) {
        return sql_fail(db, error);
    }
    return sql_exec(
        db, "PRAGMA cell_size_check=ON; PRAGMA writable_schema=ON; PRAGMA query_only=ON", error);
}
