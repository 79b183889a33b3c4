/* The one writer of a night: its own thread, a bounded queue, group commits with full sync, then
 * the commit callback. Must never run on the loop's thread, and nothing else may write a night. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_WRITER_H
#define ROOMWAKE_COLLECTOR_NIGHT_WRITER_H

#include <stdbool.h>
#include <stdint.h>

#include "collector/model/coincidence.h"
#include "collector/model/gap.h"
#include "collector/model/mark.h"
#include "collector/night/frame_id.h"
#include "common/block.h"
#include "common/clock.h"
#include "common/clock_fit.h"
#include "common/error.h"
#include "common/site.h"

/* Which run of detection and correlation a finding belongs to: 1 is the live one (or the import's),
 * each reanalyse adds one. */
#define NIGHT_ANALYSIS_LIVE 1

struct night_settings {
    const char *path;
    const struct site *site;   /* its nodes are written at once */
    const char *site_text;     /* the site file as it was, stored whole */
    int64_t start_ns;          /* site time */
    const char *origin;        /* "recorded" or "imported from FILE" */
    int commit_every_ms;       /* 0 takes 200 */
    int64_t reserve_bytes;     /* stop when the disk has less; 0 takes 64 MiB */
    size_t queue_bytes;        /* what may wait in memory; 0 takes 64 MiB */
    int seal_every_ms;         /* between seals of what was recorded so far; 0 takes 5 minutes */
    bool reopen;               /* continue a night that was not closed (the recorder died) */
    struct clock_source clock; /* all zero takes the machine's */
};

/* Called on the WRITER's thread after each commit with the frames that are now on disk, or with
 * `failure` not NULL (and no frames) when the disk refuses: the frames are kept and tried again. */
typedef void (*night_committed)(void *context, const struct night_frame_id *frames, size_t count,
                                const struct error *failure);

struct night_writer;

/* Creates the file (ERROR_BUSY where it exists or another process writes it) and starts the thread.
 * What is committed is sealed with the base station's key (key.h), which is made on first use.
 * With reopen: ERROR_NOT_FOUND where there is none, ERROR_STATE where it was closed or was begun
 * with another site file. `committed` may be NULL. While it is open a companion "NIGHT-lock" says
 * so to other programs. */
int night_writer_open(const struct night_settings *settings, night_committed committed,
                      void *context, struct night_writer **writer, struct error *error);

/* All of these copy what they are given and return at once. ERROR_FULL: the queue is full, try
 * later (nothing was taken). ERROR_STATE: closed. */
/* Told before the first frame of a boot. The same list again has no effect, a longer one adds
 * channels; ERROR_STATE where one that is known would change. */
int night_put_channels(struct night_writer *writer, uint32_t node, uint64_t boot,
                       const struct channel *channels, size_t count, struct error *error);
/* One message of a node, times in site time beside the node's own; `blocks[i].t0_ns` etc. are site
 * time, `node_t0_ns[i]` the same sample on the node's clock. A frame that is stored already is left
 * as it is and counted as committed. `late` marks a frame that the pipeline could not take. */
int night_put_frame(struct night_writer *writer, const struct night_frame_id *id,
                    const struct clock_fit *fit, const struct block *blocks,
                    const int64_t *node_t0_ns, size_t count, bool late, struct error *error);
int night_put_clock(struct night_writer *writer, uint32_t node, int64_t time_ns,
                    int64_t clock_sd_ns, struct error *error);
int night_put_gap(struct night_writer *writer, const struct gap *gap, struct error *error);
int night_put_mark(struct night_writer *writer, const struct mark *mark, struct error *error);
int night_put_analysis(struct night_writer *writer, int analysis, const struct site *site,
                       const char *why, struct error *error);
/* Inserts, or replaces the one of the same analysis and id. */
int night_put_disturbance(struct night_writer *writer, int analysis,
                          const struct disturbance *disturbance, struct error *error);
int night_put_coincidence(struct night_writer *writer, int analysis,
                          const struct coincidence *coincidence, struct error *error);
/* Another chance for a coincidence that was put before; the rest of it stays. */
int night_put_chance(struct night_writer *writer, int analysis, int64_t coincidence_id,
                     const struct chance *chance, struct error *error);
int night_put_alert(struct night_writer *writer, int analysis, int64_t coincidence_id,
                    int64_t time_ns, const char *text, struct error *error);
int night_put_notice(struct night_writer *writer, int analysis, uint32_t node, const char *quantity,
                     int64_t time_ns, const char *text, struct error *error);
int night_put_state(struct night_writer *writer, uint32_t node, int64_t time_ns, const char *json,
                    struct error *error);
int night_put_log(struct night_writer *writer, int64_t time_ns, const char *level, const char *text,
                  struct error *error);

/* The last seal of what was recorded so far (seal.h), to be read out while the night goes on: false
 * while there is none. May be called from any thread. */
struct night_writer_seal {
    int64_t number;
    int64_t time_ns; /* site time */
    uint8_t root[32];
};
bool night_writer_last_seal(struct night_writer *writer, struct night_writer_seal *seal);

/* Waits until all that was put is on disk, or for the first failure: what is not written then is
 * kept and tried again. For import and re-analysis, never on a loop. */
int night_writer_flush(struct night_writer *writer, struct error *error);
/* Flushes, builds what is left of the zoom levels, writes the end and seals it, turns the file into
 * one closed file without side files, joins the thread and frees. end_ns 0 leaves the night open (a
 * stop that is to be continued). On failure the file is left as safe as it can be and said so. */
int night_writer_close(struct night_writer *writer, int64_t end_ns, struct error *error);
/* The same, but that the night may still have its log beside it: night_fold (night_fold.h) is the
 * caller's, who can wait for other programs that read it. */
int night_writer_end(struct night_writer *writer, int64_t end_ns, struct error *error);
/* Ends without flushing and removes the file: an import that failed. (Of a night that was opened
 * for analysis only that analysis is removed.) */
void night_writer_abandon(struct night_writer *writer);

/* Opens a closed night for samples of nodes that it has none of, such as a recorder's level: their
 * rows come after all others and have a seal of their own (seal.h), so that what was sealed on the
 * night still holds. To be put are channels, frames, clocks and log lines of those nodes alone, and
 * never into the only copy of a night. `site` is the night's own, or the same with one more node at
 * its end: then `site_text` is its file, else NULL. To be closed with any end but 0; abandoning
 * removes the file. ERROR_STATE where the night is not closed. */
int night_writer_open_to_extend(const char *path, const struct site *site, const char *site_text,
                                struct night_writer **writer, struct error *error);

/* Opens a closed night to add an analysis (reanalyse): samples are never touched. *analysis is its
 * number; it counts as the newest once the writer was closed (end_ns is not looked at), and leaves
 * no trace when it was abandoned. */
int night_writer_open_for_analysis(const char *path, int *analysis, struct night_writer **writer,
                                   struct error *error);

#endif
