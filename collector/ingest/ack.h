/* From "it is on disk" to the retained `stored` message of each node.
 * Must never tell more than what a commit has confirmed. ack_on_committed runs on the writer's
 * thread; all else on the loop's. */
#ifndef ROOMWAKE_COLLECTOR_INGEST_ACK_H
#define ROOMWAKE_COLLECTOR_INGEST_ACK_H

#include <stdint.h>
#include <uv.h>

#include "collector/night/writer.h"
#include "common/error.h"
#include "common/site.h"

/* A node is told at most once in this time, or when so many frames more are stored: an eighth of
 * what it may have under way, so that a backlog never stands still for want of a word. */
#define ACK_EVERY_MS 200
#define ACK_FRAMES 8u

struct ack_settings {
    uv_loop_t *loop;
    const struct site *site; /* must outlive the ack */
    void *context;
    /* Publishes retained with QoS 1; -1 where that is not possible now: tried again. */
    int (*publish)(void *context, const char *topic, const char *payload, size_t length);
    /* The disk refuses (failure not NULL) or takes again (NULL); may be NULL. */
    void (*disk)(void *context, const struct error *failure);
};

struct ack;

int ack_new(const struct ack_settings *settings, struct ack **ack, struct error *error);

/* A night_committed function; `ack` is the struct ack. May be called before the loop runs. */
void ack_on_committed(void *ack, const struct night_frame_id *frames, size_t count,
                      const struct error *failure);
/* The intake began to take frames of this boot: from now on commits of other boots are history. */
void ack_begin_boot(struct ack *ack, uint32_t node, uint64_t boot);
/* The node sent again a frame of this boot that it had sent, or one too far ahead: tell it once
 * more what is stored; where the boot is an earlier one, of that boot too, for it sends no other
 * frames before all of those are stored. */
void ack_repeat(struct ack *ack, uint32_t node, uint64_t boot);
/* The broker is there (again): tell every node once more. */
void ack_repeat_all(struct ack *ack);
/* Takes what the writer's thread left and publishes at once, without the rate limit: at the end,
 * after the writer was flushed. */
void ack_flush(struct ack *ack);

/* Closes the handles; after on_closed ack_free is allowed. The writer must be closed before. */
void ack_close(struct ack *ack, void (*on_closed)(void *context), void *context);
void ack_free(struct ack *ack);

#endif
