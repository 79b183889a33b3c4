/* The site and the night's name into the file, and what a reopened night must agree with.
 * Must never judge the site: site_check did. Called by writer_open.c. */
#include "collector/night/writer_site.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "collector/night/schema.h"
#include "collector/night/sql.h"
#include "common/timefmt.h"

/* "SITE-YYYYMMDDTHHMMSSZ" */
static void name_night(const struct night_settings *settings, char *out, size_t size)
{
    char t[TIMEFMT_SIZE];
    timefmt_rfc3339(settings->start_ns, t);
    (void)snprintf(out, size, "%s-%.4s%.2s%.2sT%.2s%.2s%.2sZ", settings->site->id, t, t + 5, t + 8,
                   t + 11, t + 14, t + 17);
}

static int put_meta(struct store *store, const struct night_settings *settings, struct error *error)
{
    char id[IDENT_SIZE * 2];
    name_night(settings, id, sizeof id);
    if (store_set_meta_text(store, "id", id, error) != 0 ||
        store_set_meta_text(store, "origin", settings->origin, error) != 0 ||
        store_set_meta_text(store, "software", "roomwake " ROOMWAKE_VERSION, error) != 0) {
        return -1;
    }
    return store_set_meta_int(store, "start_ns", settings->start_ns, error);
}

static int put_room(sqlite3_stmt *statement, size_t id, const struct site_room *room,
                    struct error *error)
{
    struct sql_args args = sql_args(statement);
    sql_put_int(&args, (int64_t)id);
    sql_put_text(&args, room->id);
    sql_put_text(&args, room->title);
    sql_put_int(&args, room->floor);
    return sql_run(&args, error);
}

static int put_node(sqlite3_stmt *statement, size_t id, const struct site_node *node,
                    struct error *error)
{
    struct sql_args args = sql_args(statement);
    sql_put_int(&args, (int64_t)id);
    sql_put_text(&args, node->id);
    sql_put_int(&args, (int64_t)node->room);
    for (size_t axis = 0; axis < 3; axis++) {
        sql_put_real(&args, node->position_m[axis]);
    }
    sql_put_int(&args, node->control);
    return sql_run(&args, error);
}

static int put_rooms(sqlite3 *db, const struct site *site, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (sql_prepare(db, "INSERT INTO room VALUES(?, ?, ?, ?)", &statement, error) != 0) {
        return -1;
    }
    int result = 0;
    for (size_t i = 0; i < site->room_count && result == 0; i++) {
        result = put_room(statement, i, &site->rooms[i], error);
    }
    sqlite3_finalize(statement);
    return result;
}

static int put_nodes(sqlite3 *db, const struct site *site, size_t from, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (sql_prepare(db, "INSERT INTO node VALUES(?, ?, ?, ?, ?, ?, ?)", &statement, error) != 0) {
        return -1;
    }
    int result = 0;
    for (size_t i = from; i < site->node_count && result == 0; i++) {
        result = put_node(statement, i, &site->nodes[i], error);
    }
    sqlite3_finalize(statement);
    return result;
}

static int put_site_row(sqlite3 *db, const struct site *site, const char *site_text,
                        struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (sql_prepare(db,
                    "INSERT INTO site VALUES((SELECT coalesce(max(id), 0) + 1 FROM site), ?, ?, ?)",
                    &statement, error) != 0) {
        return -1;
    }
    struct sql_args args = sql_args(statement);
    sql_put_text(&args, site->id);
    sql_put_text(&args, site->title);
    sql_put_text(&args, site_text);
    int result = sql_run(&args, error);
    sqlite3_finalize(statement);
    return result;
}

int writer_put_site(struct store *store, const struct night_settings *settings, struct error *error)
{
    const struct site *site = settings->site;
    char why[] = "live";
    const struct job_analysis live = {.mains_hz = site->mains_hz,
                                      .baseline_s = site->baseline_s,
                                      .false_onsets_per_hour = site->false_onsets_per_hour,
                                      .alert_limit_per_night = site->alert_limit_per_night,
                                      .order_confidence = site->order_confidence,
                                      .why = why};
    if (put_meta(store, settings, error) != 0 ||
        put_site_row(store->db, site, settings->site_text, error) != 0 ||
        put_rooms(store->db, site, error) != 0 || put_nodes(store->db, site, 0, error) != 0) {
        return -1;
    }
    return store_analysis(store, NIGHT_ANALYSIS_LIVE, &live, error);
}

int writer_put_more_site(struct store *store, const struct site *site, const char *site_text,
                         struct error *error)
{
    int64_t nodes = 0;
    if (sql_query_int(store->db, "SELECT count(*) FROM node", &nodes, error) != 0 ||
        put_site_row(store->db, site, site_text, error) != 0) {
        return -1;
    }
    return put_nodes(store->db, site, (size_t)nodes, error);
}

int writer_check_site(struct store *store, const struct night_settings *settings,
                      struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (sql_prepare(store->db, "SELECT file = ? FROM site", &statement, error) != 0) {
        return -1;
    }
    struct sql_args args = sql_args(statement);
    sql_put_text(&args, settings->site_text);
    int result = sql_step(statement, error);
    bool same = result == 1 && sqlite3_column_int(statement, 0) == 1;
    sqlite3_finalize(statement);
    if (result < 0) {
        return -1;
    }
    return same ? 0
                : error_set(error, ERROR_STATE,
                            "was begun with another site file: give the new night a new name");
}

int writer_load_channel(struct night_writer *writer, sqlite3_stmt *statement, struct error *error)
{
    struct sql_columns row = sql_columns(statement);
    int64_t id = sql_get_int(&row);
    uint32_t node = (uint32_t)sql_get_int(&row);
    char boot[17];
    sql_get_text(&row, boot, sizeof boot);
    struct channel channel = {0};
    sql_get_text(&row, channel.name, sizeof channel.name);
    sql_get_text(&row, channel.unit, sizeof channel.unit);
    channel.quantity = quantity_from_name(channel.name);
    channel.rate_hz = sql_get_real(&row);
    channel.period_ps = sql_get_int(&row);
    channel.step.mantissa = sql_get_int(&row);
    channel.step.exponent = (int16_t)sql_get_int(&row);
    channel.offset.mantissa = sql_get_int(&row);
    channel.offset.exponent = (int16_t)sql_get_int(&row);
    channel.least = (int32_t)sql_get_int(&row);
    channel.most = (int32_t)sql_get_int(&row);
    sql_get_calibration(&row, &channel.calibration);

    /* Rows come in the order in which the boots were added, so that ids come out the same. */
    struct channel channels[NODE_CHANNELS_MAX];
    uint64_t number = strtoull(boot, NULL, 16);
    int64_t known = boots_find(&writer->boots, node, number);
    size_t place = (size_t)(id % SCHEMA_FANOUT);
    if (known != 0) {
        memcpy(channels, writer->boots.list[known - 1].channels, sizeof channels);
    }
    channels[place] = channel;
    int64_t boot_id = 0;
    size_t more = 0;
    if (boots_add(&writer->boots, node, number, channels, place + 1, &boot_id, &more, error) != 0) {
        return -1;
    }
    if (boot_id != id / SCHEMA_FANOUT || more != 1) {
        return error_set(error, ERROR_FORMAT, "channel %lld is out of place", (long long)id);
    }
    return store_remember_channel(writer->store, id, &channel, error);
}

int writer_sync_folder(const char *path, struct error *error)
{
    const char *slash = strrchr(path, '/');
    char *folder = slash ? strndup(path, (size_t)(slash - path) + 1) : strdup(".");
    if (!folder) {
        return writer_out_of_memory(error);
    }
    int descriptor = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    int result = 0;
    if (descriptor < 0 || fsync(descriptor) != 0) {
        result = error_set(error, ERROR_IO, "%s: %s", folder, strerror(errno));
    }
    if (descriptor >= 0) {
        close(descriptor);
    }
    free(folder);
    return result;
}
