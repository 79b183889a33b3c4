/* What a night's seal says, as quickly as a person wants it who only reviews the night.
 * Must never say that a seal holds of what was not looked at. Called by review and the exports. */
#include "collector/night/reader_internal.h"

#include <sodium.h>
#include <string.h>

#include "collector/night/seal_check.h"

/* A night with more rows than this is not read through for a review: about half a second. */
#define ROWS_MOST 200000

static void on_fault(void *context, const char *table, const char *row, const char *text)
{
    (void)table;
    (void)row;
    (void)text;
    ++*(uint64_t *)context;
}

static void write_root(const struct seal_entry *entry, char root[65])
{
    root[0] = '\0';
    if (entry && entry->sound) {
        (void)sodium_bin2hex(root, 65, entry->seal.root, sizeof entry->seal.root);
    }
}

int night_read_root(struct night_reader *reader, char root[65], struct error *error)
{
    uint64_t faults = 0;
    const struct seal_sink sink = {&faults, on_fault};
    struct seal_list list = {0};
    int result = seal_list_read(reader->db, &list, &sink, error);
    write_root(seal_list_end(&list), root);
    seal_list_free(&list);
    return result == 0 ? 0 : reader_fail(reader, error);
}

/* Whether the night says that it was closed. */
static bool says_closed(struct night_reader *reader)
{
    int64_t end_ns = 0;
    struct error ignored; /* no such row: not closed */
    return sql_query_int(reader->db, "SELECT value FROM meta WHERE key='end_ns'", &end_ns,
                         &ignored) == 0;
}

int night_read_seal(struct night_reader *reader, int analysis, struct night_seal *seal,
                    struct error *error)
{
    char cut[READER_CUT_SIZE];
    uint64_t faults = night_reader_damage(reader) != NULL || reader_cut_short(reader->path, cut);
    const struct seal_sink sink = {&faults, on_fault};
    struct seal_list list = {0};
    *seal = (struct night_seal){.state = NIGHT_SEAL_OPEN};
    if (seal_list_read(reader->db, &list, &sink, error) != 0) {
        seal_list_free(&list);
        seal->state = NIGHT_SEAL_BROKEN;
        return error->code == ERROR_FORMAT ? 0 : reader_fail(reader, error);
    }
    const struct seal_entry *end = seal_list_end(&list);
    const struct seal_entry *last = end ? end : seal_list_last(&list, SEAL_SO_FAR, 0);
    seal->whole = !last || last->seal.leaves <= ROWS_MOST;
    seal_check_rows(reader->db, &list, 0, !seal->whole, &sink);
    if (end) {
        faults += !seal_list_last(&list, SEAL_ANALYSIS, analysis);
        seal_check_rows(reader->db, &list, analysis, false, &sink);
    }
    faults += says_closed(reader) != (end != NULL);
    if (faults > 0) {
        seal->state = NIGHT_SEAL_BROKEN;
    } else if (end) {
        seal->state = NIGHT_SEAL_HOLDS;
    }
    write_root(end, seal->root);
    seal_list_free(&list);
    return 0;
}

static int take_key(void *context, struct sql_columns *row)
{
    sql_get_text(row, context, 65);
    return 0;
}

int night_read_key(struct night_reader *reader, char key[65], struct error *error)
{
    sqlite3_stmt *statement = NULL;
    key[0] = '\0';
    if (reader_prepare(reader,
                       "SELECT lower(hex(public_key)) FROM seal WHERE length(public_key) = 32"
                       " ORDER BY id DESC LIMIT 1",
                       &statement, error) != 0) {
        return -1;
    }
    return reader_each(reader, statement, take_key, key, error);
}
