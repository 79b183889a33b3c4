/* The head of the blocks message, its checksum, and what may change in it after it was made.
 * Must never hand out a frame from bytes that fail a check.
 * Called by the node (encode, restamp), the spool (peek) and the collector (decode). */
#include "common/wire.h"

#include <stdlib.h>
#include <string.h>

#include "common/bytes.h"
#include "common/crc.h"
#include "common/wire_blocks.h"

/* Fixed places, so that a message waiting in the spool can be stamped without rewriting it. */
enum {
    AT_VERSION = 2,
    AT_FLAGS = 3,
    AT_CHECKSUM = 4,
    AT_BOOT = 8,
    AT_SEQ = 16,
    AT_OLDEST = 24,
    AT_UNTIL = 32,
    AT_FIT = 40,
    AT_BLOCK_COUNT = 80,
    HEAD_SIZE = 82,
};

#define FLAG_FIT_KNOWN 0x01
#define FLAG_HOLES 0x02
#define FLAG_FIT_UTC 0x04
#define RATE_PPT_MAX INT64_C(100000000000)              /* a tenth */
#define UNCERTAINTY_NS_MAX INT64_C(1000000000000000000) /* 31 years */
#define GROWTH_PPB_MAX INT64_C(1000000000)

static const uint8_t magic[2] = {'R', 'W'};

void wire_arena_free(struct wire_arena *arena)
{
    free(arena->counts);
    free(arena->times_ns);
    free(arena->decimals);
    *arena = (struct wire_arena){0};
}

/* Everything but the checksum's own four octets. */
static uint32_t checksum_of(const uint8_t *bytes, size_t length)
{
    uint32_t crc = crc32c_update(0, bytes, AT_CHECKSUM);
    return crc32c_update(crc, bytes + AT_BOOT, length - AT_BOOT);
}

static void put_checksum(uint8_t *bytes, size_t length)
{
    struct bytes_writer writer = bytes_writer_of(bytes + AT_CHECKSUM, 4);
    bytes_write_u32(&writer, checksum_of(bytes, length));
}

static int check_fit(const struct clock_fit *fit, struct error *error)
{
    if (!wire_time_valid(fit->ref_node_ns) || !wire_time_valid(fit->offset_ns)) {
        return error_set(error, ERROR_RANGE, "blocks message: clock fit: time out of range");
    }
    if (fit->rate_ppt < -RATE_PPT_MAX || fit->rate_ppt > RATE_PPT_MAX) {
        return error_set(error, ERROR_RANGE, "blocks message: clock fit: rate out of range");
    }
    if (fit->uncertainty_ns < 0 || fit->uncertainty_ns > UNCERTAINTY_NS_MAX ||
        fit->growth_ppb < 0 || fit->growth_ppb > GROWTH_PPB_MAX) {
        return error_set(error, ERROR_RANGE, "blocks message: clock fit: uncertainty out of range");
    }
    return 0;
}

static int check_head(const struct frame *frame, struct error *error)
{
    if (frame->boot == 0 || frame->seq == 0) {
        return error_set(error, ERROR_RANGE, "blocks message: boot or sequence number is 0");
    }
    if (frame->oldest_seq == 0 || frame->oldest_seq > frame->seq) {
        return error_set(error, ERROR_RANGE,
                         "blocks message: oldest sequence number is not within 1 to its own");
    }
    if (!wire_time_valid(frame->until_node_ns)) {
        return error_set(error, ERROR_RANGE, "blocks message: time out of range");
    }
    if (frame->block_count > NODE_CHANNELS_MAX) {
        return error_set(error, ERROR_RANGE, "blocks message: %u blocks, at most %d",
                         frame->block_count, NODE_CHANNELS_MAX);
    }
    return frame->fit.known ? check_fit(&frame->fit, error) : 0;
}

static uint8_t fit_flags(const struct clock_fit *fit)
{
    return (uint8_t)(!fit->known ? 0 : fit->utc ? FLAG_FIT_KNOWN | FLAG_FIT_UTC : FLAG_FIT_KNOWN);
}

/* An unknown fit is written as zeros: one frame has one spelling. */
static void write_fit(struct bytes_writer *writer, const struct clock_fit *fit)
{
    struct clock_fit told = {0};
    if (fit->known) {
        told = *fit;
    }
    bytes_write_i64(writer, told.ref_node_ns);
    bytes_write_i64(writer, told.offset_ns);
    bytes_write_i64(writer, told.rate_ppt);
    bytes_write_i64(writer, told.uncertainty_ns);
    bytes_write_i64(writer, told.growth_ppb);
}

static void write_head(struct bytes_writer *writer, const struct frame *frame)
{
    bytes_write_run(writer, magic, sizeof magic);
    bytes_write_u8(writer, WIRE_VERSION);
    bytes_write_u8(writer,
                   (uint8_t)(fit_flags(&frame->fit) | (frame->hole_count > 0 ? FLAG_HOLES : 0)));
    bytes_write_u32(writer, 0);
    bytes_write_u64(writer, frame->boot);
    bytes_write_u64(writer, frame->seq);
    bytes_write_u64(writer, frame->oldest_seq);
    bytes_write_i64(writer, frame->until_node_ns);
    write_fit(writer, &frame->fit);
    bytes_write_u16(writer, frame->block_count);
}

int wire_encode(const struct frame *frame, uint8_t *bytes, size_t size, size_t *length,
                struct error *error)
{
    if (check_head(frame, error) != 0 || wire_blocks_check(frame, error) != 0 ||
        wire_holes_check(frame, error) != 0) {
        return -1;
    }
    struct bytes_writer writer =
        bytes_writer_of(bytes, size < WIRE_MESSAGE_MAX ? size : WIRE_MESSAGE_MAX);
    write_head(&writer, frame);
    wire_blocks_write(&writer, frame);
    wire_holes_write(&writer, frame);
    if (writer.failed) {
        return error_set(error, ERROR_FULL, "blocks message: does not fit in %zu octets",
                         writer.size);
    }
    put_checksum(bytes, writer.length);
    *length = writer.length;
    return 0;
}

/* Marks, version and length: what must hold before any other octet is believed. */
static int check_envelope(const uint8_t *bytes, size_t length, struct error *error)
{
    if (length < HEAD_SIZE || memcmp(bytes, magic, sizeof magic) != 0) {
        return error_set(error, ERROR_FORMAT, "blocks message: too short or not one at all");
    }
    if (bytes[AT_VERSION] != WIRE_VERSION) {
        return error_set(error, ERROR_VERSION, "blocks message: version %u, only %d known",
                         bytes[AT_VERSION], WIRE_VERSION);
    }
    if (length > WIRE_MESSAGE_MAX) {
        return error_set(error, ERROR_RANGE, "blocks message: %zu octets, at most %u", length,
                         WIRE_MESSAGE_MAX);
    }
    return 0;
}

static int check_message(const uint8_t *bytes, size_t length, struct error *error)
{
    if (check_envelope(bytes, length, error) != 0) {
        return -1;
    }
    struct bytes_reader reader = bytes_reader_of(bytes + AT_CHECKSUM, 4);
    if (bytes_read_u32(&reader) != checksum_of(bytes, length)) {
        return error_set(error, ERROR_CHECKSUM, "blocks message: checksum mismatch");
    }
    if (bytes[AT_FLAGS] & ~(FLAG_FIT_KNOWN | FLAG_HOLES | FLAG_FIT_UTC)) {
        return error_set(error, ERROR_FORMAT, "blocks message: unknown flags %02x",
                         bytes[AT_FLAGS]);
    }
    return 0;
}

static int read_head(struct bytes_reader *reader, uint8_t flags, struct frame *frame,
                     struct error *error)
{
    frame->boot = bytes_read_u64(reader);
    frame->seq = bytes_read_u64(reader);
    frame->oldest_seq = bytes_read_u64(reader);
    frame->until_node_ns = bytes_read_i64(reader);
    struct clock_fit fit = {.known = (flags & FLAG_FIT_KNOWN) != 0,
                            .utc = (flags & FLAG_FIT_UTC) != 0};
    fit.ref_node_ns = bytes_read_i64(reader);
    fit.offset_ns = bytes_read_i64(reader);
    fit.rate_ppt = bytes_read_i64(reader);
    fit.uncertainty_ns = bytes_read_i64(reader);
    fit.growth_ppb = bytes_read_i64(reader);
    frame->fit = fit;
    frame->block_count = bytes_read_u16(reader);
    if (!fit.known && (fit.utc | fit.ref_node_ns | fit.offset_ns | fit.rate_ppt |
                       fit.uncertainty_ns | fit.growth_ppb) != 0) {
        return error_set(error, ERROR_FORMAT, "blocks message: a clock fit that is not known");
    }
    return check_head(frame, error);
}

int wire_decode(const uint8_t *bytes, size_t length, struct wire_arena *arena, struct frame *frame,
                struct error *error)
{
    if (check_message(bytes, length, error) != 0) {
        return -1;
    }
    struct bytes_reader reader = bytes_reader_of(bytes, length);
    (void)bytes_read_run(&reader, AT_BOOT);
    struct frame read = {0};
    if (read_head(&reader, bytes[AT_FLAGS], &read, error) != 0 ||
        wire_blocks_read(&reader, arena, &read, error) != 0) {
        return -1;
    }
    if ((bytes[AT_FLAGS] & FLAG_HOLES) && wire_holes_read(&reader, &read, error) != 0) {
        return -1;
    }
    if (bytes_left(&reader) > 0) {
        return error_set(error, ERROR_FORMAT, "blocks message: %zu octets after the last block",
                         bytes_left(&reader));
    }
    *frame = read;
    return 0;
}

int wire_peek(const uint8_t *bytes, size_t length, uint64_t *boot, uint64_t *seq,
              struct error *error)
{
    if (check_envelope(bytes, length, error) != 0) {
        return -1;
    }
    struct bytes_reader reader = bytes_reader_of(bytes + AT_BOOT, 16);
    *boot = bytes_read_u64(&reader);
    *seq = bytes_read_u64(&reader);
    return 0;
}

int wire_restamp(uint8_t *bytes, size_t length, uint64_t oldest_seq, const struct clock_fit *fit,
                 struct error *error)
{
    /* A message that was damaged on disk must not get a fresh checksum. */
    if (check_message(bytes, length, error) != 0) {
        return -1;
    }
    struct bytes_reader seq = bytes_reader_of(bytes + AT_SEQ, 8);
    if (oldest_seq == 0 || oldest_seq > bytes_read_u64(&seq)) {
        return error_set(error, ERROR_RANGE,
                         "blocks message: oldest sequence number is not within 1 to its own");
    }
    bool stamp = fit && fit->known && !(bytes[AT_FLAGS] & FLAG_FIT_KNOWN);
    if (stamp && check_fit(fit, error) != 0) {
        return -1;
    }
    struct bytes_writer writer = bytes_writer_of(bytes + AT_OLDEST, AT_UNTIL - AT_OLDEST);
    bytes_write_u64(&writer, oldest_seq);
    if (stamp) {
        writer = bytes_writer_of(bytes + AT_FIT, AT_BLOCK_COUNT - AT_FIT);
        write_fit(&writer, fit);
        bytes[AT_FLAGS] |= fit_flags(fit);
    }
    put_checksum(bytes, length);
    return 0;
}
