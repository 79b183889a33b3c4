/* The holes of a blocks message: stretches without samples whose cause the node knows.
 * Must never let a reason through that is not plain text. Called by wire.c. */
#include <string.h>

#include "common/wire_blocks.h"

static bool reason_valid(const char *reason)
{
    size_t length = strnlen(reason, HOLE_REASON_SIZE);
    for (size_t i = 0; i < length; i++) {
        if (reason[i] < ' ' || reason[i] > '~') {
            return false;
        }
    }
    return length > 0 && length < HOLE_REASON_SIZE;
}

static int check_hole(const struct hole *hole, struct error *error)
{
    if (hole->channel >= NODE_CHANNELS_MAX || !wire_time_valid(hole->start_ns) ||
        !wire_time_valid(hole->end_ns) || hole->end_ns <= hole->start_ns ||
        !reason_valid(hole->reason)) {
        return error_set(error, ERROR_RANGE,
                         "blocks message: a hole whose channel, times or reason can't be");
    }
    return 0;
}

int wire_holes_check(const struct frame *frame, struct error *error)
{
    if (frame->hole_count > FRAME_HOLES_MAX) {
        return error_set(error, ERROR_RANGE, "blocks message: %u holes, at most %d",
                         frame->hole_count, FRAME_HOLES_MAX);
    }
    for (size_t i = 0; i < frame->hole_count; i++) {
        if (check_hole(&frame->holes[i], error) != 0) {
            return -1;
        }
    }
    return 0;
}

void wire_holes_write(struct bytes_writer *writer, const struct frame *frame)
{
    if (frame->hole_count == 0) {
        return;
    }
    bytes_write_u8(writer, (uint8_t)frame->hole_count);
    for (size_t i = 0; i < frame->hole_count; i++) {
        const struct hole *hole = &frame->holes[i];
        size_t length = strlen(hole->reason);
        bytes_write_u8(writer, (uint8_t)hole->channel);
        bytes_write_zigzag(writer, hole->start_ns - frame->until_node_ns);
        bytes_write_varint(writer, (uint64_t)(hole->end_ns - hole->start_ns));
        bytes_write_u8(writer, (uint8_t)length);
        bytes_write_run(writer, hole->reason, length);
    }
}

static int read_hole(struct bytes_reader *reader, int64_t until_ns, struct hole *hole,
                     struct error *error)
{
    hole->channel = bytes_read_u8(reader);
    int64_t since_ns = bytes_read_zigzag(reader);
    uint64_t long_ns = bytes_read_varint(reader);
    size_t length = bytes_read_u8(reader);
    if (length >= sizeof hole->reason || !wire_time_valid(since_ns) || long_ns > INT64_MAX / 4) {
        return error_set(error, ERROR_RANGE, "blocks message: a hole out of range");
    }
    const uint8_t *reason = bytes_read_run(reader, length);
    if (!reason) {
        return error_set(error, ERROR_FORMAT, "blocks message: a hole is cut short");
    }
    memcpy(hole->reason, reason, length);
    hole->reason[length] = '\0';
    /* A zero inside would end the text early: what was read could not be spelled again. */
    if (strlen(hole->reason) != length) {
        return error_set(error, ERROR_FORMAT, "blocks message: a hole's reason is not plain text");
    }
    hole->start_ns = until_ns + since_ns;
    hole->end_ns = hole->start_ns + (int64_t)long_ns;
    return check_hole(hole, error);
}

int wire_holes_read(struct bytes_reader *reader, struct frame *frame, struct error *error)
{
    frame->hole_count = bytes_read_u8(reader);
    if (frame->hole_count == 0 || frame->hole_count > FRAME_HOLES_MAX) {
        return error_set(error, ERROR_RANGE, "blocks message: holes: not 1 to %d", FRAME_HOLES_MAX);
    }
    for (size_t i = 0; i < frame->hole_count; i++) {
        if (read_hole(reader, frame->until_node_ns, &frame->holes[i], error) != 0) {
            return -1;
        }
    }
    return 0;
}
