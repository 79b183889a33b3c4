/* What came into a night after its end: whole new nodes' samples, and nothing else.
 * Must never pass a row that could change what the night said. Called by reader_verify.c. */
#include "collector/night/reader_verify.h"

#include <inttypes.h>
#include <stdio.h>

#include "collector/night/seal_check.h"

#define NODES_BEFORE "(SELECT node FROM boot WHERE id <= ?2)"

/* Of each table the rows after the first ?1, which the seal before has; ?2 is how many boots it
 * has (their ids count from 1). Gives how many there are that may not be. */
static const struct {
    const char *tree;
    const char *sql;
    const char *text;
} rules[] = {
    {"meta",
     "SELECT count(*) > ?1 FROM meta WHERE NOT (key = 'end_ns' OR key GLOB"
     " 'longest_block_ns*') AND ?2 >= 0",
     "says more than at the night's end"},
    {"room", "SELECT count(*) - ?1 FROM room WHERE ?2 >= 0", "has rooms that came after its end"},
    {"codec", "SELECT count(*) - ?1 FROM codec WHERE ?2 >= 0",
     "has codecs that came after the night's end"},
    {"mark", "SELECT count(*) - ?1 FROM mark WHERE ?2 >= 0",
     "has marks that came after the night's end"},
    {"gap", "SELECT count(*) - ?1 FROM gap WHERE ?2 >= 0",
     "has gaps that came after the night's end"},
    {"state", "SELECT count(*) - ?1 FROM state WHERE ?2 >= 0",
     "has states that came after the night's end"},
    {"boot", "SELECT count(*) FROM boot WHERE id > ?1 AND node IN " NODES_BEFORE,
     "has samples of a node that had some already, from after the night's end"},
    {"channel", "SELECT count(*) FROM channel WHERE nth > ?1 AND boot <= ?2",
     "has more of a node that was there, from after the night's end"},
    {"fit",
     "SELECT count(*) FROM (SELECT boot FROM fit ORDER BY id LIMIT -1 OFFSET ?1)"
     " WHERE boot <= ?2",
     "has more of a node that was there, from after the night's end"},
    {"frame",
     "SELECT count(*) FROM (SELECT boot FROM frame ORDER BY id LIMIT -1 OFFSET ?1)"
     " WHERE boot <= ?2",
     "has more of a node that was there, from after the night's end"},
    {"block",
     "SELECT count(*) FROM (SELECT channel FROM block ORDER BY id LIMIT -1 OFFSET ?1)"
     " WHERE channel >> 5 <= ?2",
     "has more of a node that was there, from after the night's end"},
    {"clock",
     "SELECT count(*) FROM (SELECT node FROM clock ORDER BY id LIMIT -1 OFFSET ?1)"
     " WHERE node IN " NODES_BEFORE,
     "has more of a node that was there, from after the night's end"},
};

static int count_rows(struct verifying *verifying, const char *sql, int64_t rows, int64_t boots,
                      int64_t *count, struct error *error)
{
    sqlite3_stmt *statement = NULL;
    if (reader_prepare(verifying->reader, sql, &statement, error) != 0) {
        return -1;
    }
    (void)sqlite3_bind_int64(statement, 1, rows);
    (void)sqlite3_bind_int64(statement, 2, boots);
    int result = sql_step(statement, error);
    *count = result == 1 ? sqlite3_column_int64(statement, 0) : 0;
    sqlite3_finalize(statement);
    return result < 0 ? -1 : 0;
}

/* Everything that came after this seal. */
static int check_after(struct verifying *verifying, const struct seal *seal, struct error *error)
{
    sqlite3 *db = verifying->reader->db;
    int64_t boots = 0;
    if (seal_list_leaves(db, seal, "boot", &boots, error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < sizeof rules / sizeof *rules; i++) {
        int64_t rows = 0;
        int64_t strange = 0;
        if (seal_list_leaves(db, seal, rules[i].tree, &rows, error) != 0 ||
            count_rows(verifying, rules[i].sql, rows, boots, &strange, error) != 0) {
            return -1;
        }
        if (strange > 0) {
            verify_tell(verifying, rules[i].tree, "", rules[i].text);
        }
    }
    return 0;
}

void verify_added(struct verifying *verifying, const struct seal_list *list)
{
    const struct seal_entry *end = seal_list_end(list);
    struct error error;
    for (size_t i = 0; i < list->count && end && &list->entries[i] != end; i++) {
        const struct seal *seal = &list->entries[i].seal;
        if ((seal->what == SEAL_SAMPLES || seal->what == SEAL_ADDED) &&
            check_after(verifying, seal, &error) != 0) {
            verify_tell(verifying, "seal", "", error.text);
            return;
        }
    }
}
