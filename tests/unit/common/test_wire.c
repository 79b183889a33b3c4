/* The blocks message: any frame comes back, any damage is an error.
 * Must never need a seed from outside: all random frames are the same on every run. */
#include "tests/unit/test.h"

#include "common/bytes.h"
#include "common/crc.h"
#include "common/wire.h"

#define AT_CHECKSUM 4
#define AT_BLOCK_COUNT 80
#define HEAD_SIZE 82
#define SAMPLES 64

struct fixture {
    int32_t counts[4][SAMPLES];
    int64_t times[4][SAMPLES];
    struct decimal decimals[4][SAMPLES];
    struct frame frame;
};

static uint64_t next_random(uint64_t *seed)
{
    *seed = *seed * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    uint64_t x = *seed ^ (*seed >> 33);
    return x * UINT64_C(0xff51afd7ed558ccd) ^ (x >> 29);
}

/* Extremes, small steps and anything between, so that every width of a difference comes up. */
static int32_t random_count(uint64_t *seed)
{
    uint64_t bits = next_random(seed);
    switch (bits % 5) {
    case 0:
        return INT32_MIN;
    case 1:
        return INT32_MAX;
    case 2:
        return (int32_t)(bits >> 8 & 0xff) - 128;
    default:
        return (int32_t)(uint32_t)(bits >> 16);
    }
}

static void fill_block(struct fixture *fixture, size_t i, uint64_t *seed)
{
    struct block *block = &fixture->frame.blocks[i];
    uint32_t count = (uint32_t)(next_random(seed) % SAMPLES);
    int64_t t0 = (int64_t)(next_random(seed) >> 2) - (INT64_C(1) << 61);
    *block = (struct block){
        .channel = (uint16_t)(next_random(seed) % NODE_CHANNELS_MAX),
        .encoding = next_random(seed) % 4 == 0 ? BLOCK_DECIMAL : BLOCK_INT32,
        .count = count,
        .t0_ns = t0,
    };
    bool even = next_random(seed) % 2 == 0;
    block->period_ps = even ? (int64_t)(next_random(seed) % 1000000000000u) + 1 : 0;
    for (uint32_t k = 0; k < count; k++) {
        fixture->counts[i][k] = random_count(seed);
        fixture->times[i][k] = t0;
        t0 += (int64_t)(next_random(seed) >> (20 + next_random(seed) % 44)) + 1;
        fixture->decimals[i][k] = (struct decimal){
            .mantissa = (int64_t)(next_random(seed) % 1999999999999999999u) - 999999999999999999,
            .exponent = (int16_t)(next_random(seed) % 601 - 300),
        };
    }
    block->times_ns = even || count == 0 ? NULL : fixture->times[i];
    if (count > 0) {
        block->counts = block->encoding == BLOCK_INT32 ? fixture->counts[i] : NULL;
        block->decimals = block->encoding == BLOCK_DECIMAL ? fixture->decimals[i] : NULL;
    }
}

static void fill_holes(struct frame *frame, uint64_t *seed)
{
    frame->hole_count = (uint16_t)(next_random(seed) % (FRAME_HOLES_MAX + 1));
    for (size_t i = 0; i < frame->hole_count; i++) {
        struct hole *hole = &frame->holes[i];
        hole->channel = (uint16_t)(next_random(seed) % NODE_CHANNELS_MAX);
        hole->start_ns = frame->until_node_ns - (int64_t)(next_random(seed) >> 24);
        hole->end_ns = hole->start_ns + 1 + (int64_t)(next_random(seed) >> 24);
        size_t length = 1 + next_random(seed) % (HOLE_REASON_SIZE - 1);
        memset(hole->reason, 'a' + (int)(next_random(seed) % 26), length);
        hole->reason[length] = '\0';
    }
}

static void fill_frame(struct fixture *fixture, uint64_t *seed)
{
    struct frame *frame = &fixture->frame;
    *frame = (struct frame){
        .boot = next_random(seed) | 1,
        .seq = (next_random(seed) >> 1) + 1,
        .until_node_ns = (int64_t)(next_random(seed) >> 2) - (INT64_C(1) << 61),
        .block_count = (uint16_t)(next_random(seed) % 5),
    };
    frame->oldest_seq = next_random(seed) % frame->seq + 1;
    if (next_random(seed) % 2) {
        frame->fit = (struct clock_fit){
            .known = true,
            .ref_node_ns = frame->until_node_ns,
            .offset_ns = INT64_C(1700000000000000000),
            .rate_ppt = -40000000,
            .uncertainty_ns = 123456,
            .growth_ppb = 1000,
        };
    }
    for (size_t i = 0; i < frame->block_count; i++) {
        fill_block(fixture, i, seed);
    }
    fill_holes(frame, seed);
}

static void assert_blocks_equal(const struct block *a, const struct block *b)
{
    assert_int_equal(a->channel, b->channel);
    assert_int_equal(a->encoding, b->encoding);
    assert_int_equal(a->count, b->count);
    assert_int64_equal(a->t0_ns, b->t0_ns);
    assert_int64_equal(a->period_ps, b->period_ps);
    for (uint32_t i = 0; i < a->count; i++) {
        if (a->period_ps == 0) {
            assert_int64_equal(a->times_ns[i], b->times_ns[i]);
        }
        if (a->encoding == BLOCK_INT32) {
            assert_int64_equal(a->counts[i], b->counts[i]);
        } else {
            assert_int64_equal(a->decimals[i].mantissa, b->decimals[i].mantissa);
            assert_int64_equal(a->decimals[i].exponent, b->decimals[i].exponent);
        }
    }
}

static void assert_frames_equal(const struct frame *a, const struct frame *b)
{
    assert_true(a->boot == b->boot && a->seq == b->seq && a->oldest_seq == b->oldest_seq);
    assert_int64_equal(a->until_node_ns, b->until_node_ns);
    assert_int_equal(a->fit.known, b->fit.known);
    assert_int64_equal(a->fit.ref_node_ns, b->fit.ref_node_ns);
    assert_int64_equal(a->fit.offset_ns, b->fit.offset_ns);
    assert_int64_equal(a->fit.rate_ppt, b->fit.rate_ppt);
    assert_int64_equal(a->fit.uncertainty_ns, b->fit.uncertainty_ns);
    assert_int64_equal(a->fit.growth_ppb, b->fit.growth_ppb);
    assert_int_equal(a->block_count, b->block_count);
    for (size_t i = 0; i < a->block_count; i++) {
        assert_blocks_equal(&a->blocks[i], &b->blocks[i]);
    }
    assert_int_equal(a->hole_count, b->hole_count);
    for (size_t i = 0; i < a->hole_count; i++) {
        assert_int_equal(a->holes[i].channel, b->holes[i].channel);
        assert_int64_equal(a->holes[i].start_ns, b->holes[i].start_ns);
        assert_int64_equal(a->holes[i].end_ns, b->holes[i].end_ns);
        assert_string_equal(a->holes[i].reason, b->holes[i].reason);
    }
}

/* A frame of a few samples of each kind: the subject of the damage tests. */
static size_t small_message(struct fixture *fixture, uint8_t *bytes, size_t size)
{
    static const int32_t counts[] = {INT32_MIN, INT32_MAX, 0, -1, INT32_MIN};
    static const int64_t times[] = {1000, 1001, 5000000000};
    static const struct decimal decimals[] = {{1, 0}, {-5, -7}, {999999999999999999, 300}};
    fixture->frame = (struct frame){
        .boot = UINT64_C(0x0123456789abcdef),
        .seq = 7,
        .oldest_seq = 3,
        .until_node_ns = 6000000000,
        .block_count = 3,
        .blocks = {{.channel = 0,
                    .count = 5,
                    .t0_ns = 5000000000,
                    .period_ps = 20000000000,
                    .counts = counts},
                   {.channel = 31, .count = 3, .t0_ns = 1000, .times_ns = times, .counts = counts},
                   {.channel = 2,
                    .encoding = BLOCK_DECIMAL,
                    .count = 3,
                    .t0_ns = 1000,
                    .times_ns = times,
                    .decimals = decimals}},
    };
    size_t length = 0;
    struct error error = {0};
    assert_int_equal(wire_encode(&fixture->frame, bytes, size, &length, &error), 0);
    return length;
}

static void renew_checksum(uint8_t *bytes, size_t length)
{
    uint32_t crc = crc32c_update(0, bytes, AT_CHECKSUM);
    crc = crc32c_update(crc, bytes + AT_CHECKSUM + 4, length - AT_CHECKSUM - 4);
    struct bytes_writer writer = bytes_writer_of(bytes + AT_CHECKSUM, 4);
    bytes_write_u32(&writer, crc);
}

static void any_frame_comes_back_and_has_one_spelling(void **state)
{
    (void)state;
    static uint8_t bytes[WIRE_MESSAGE_MAX];
    static uint8_t again[WIRE_MESSAGE_MAX];
    static struct fixture fixture;
    struct wire_arena arena = {0};
    uint64_t seed = 20240301;
    for (int round = 0; round < 2000; round++) {
        fill_frame(&fixture, &seed);
        struct error error = {0};
        size_t length = 0;
        assert_int_equal(wire_encode(&fixture.frame, bytes, sizeof bytes, &length, &error), 0);
        struct frame read;
        if (wire_decode(bytes, length, &arena, &read, &error) != 0) {
            fail_msg("round %d: %s", round, error.text);
        }
        assert_frames_equal(&fixture.frame, &read);
        size_t again_length = 0;
        assert_int_equal(wire_encode(&read, again, sizeof again, &again_length, &error), 0);
        assert_int_equal(again_length, length);
        assert_memory_equal(again, bytes, length);
    }
    wire_arena_free(&arena);
}

static void every_truncation_and_every_added_octet_is_an_error(void **state)
{
    (void)state;
    uint8_t bytes[512] = {0};
    struct fixture fixture;
    size_t length = small_message(&fixture, bytes, sizeof bytes);
    struct wire_arena arena = {0};
    for (size_t cut = 0; cut < length; cut++) {
        /* A copy of its own size, so that a sanitizer sees a read past the end. */
        uint8_t *part = malloc(cut + 1);
        memcpy(part, bytes, cut);
        struct frame read;
        struct error error = {0};
        assert_int_equal(wire_decode(part, cut, &arena, &read, &error), -1);
        assert_true(error.code != ERROR_NONE);
        if (cut > HEAD_SIZE) {
            /* Even where the checksum is made to fit, the blocks don't. */
            renew_checksum(part, cut);
            assert_int_equal(wire_decode(part, cut, &arena, &read, &error), -1);
            assert_true(error.code == ERROR_FORMAT || error.code == ERROR_RANGE);
        }
        free(part);
    }
    renew_checksum(bytes, length + 1);
    struct frame read;
    struct error error = {0};
    assert_int_equal(wire_decode(bytes, length + 1, &arena, &read, &error), -1);
    assert_error(error, ERROR_FORMAT, "after the last block");
    wire_arena_free(&arena);
}

static void every_single_flipped_bit_is_an_error(void **state)
{
    (void)state;
    uint8_t bytes[512];
    struct fixture fixture;
    size_t length = small_message(&fixture, bytes, sizeof bytes);
    struct wire_arena arena = {0};
    for (size_t bit = 0; bit < 8 * length; bit++) {
        bytes[bit / 8] ^= (uint8_t)(1u << bit % 8);
        struct frame read;
        struct error error = {0};
        assert_int_equal(wire_decode(bytes, length, &arena, &read, &error), -1);
        enum error_code expected = bit / 8 < 2    ? ERROR_FORMAT
                                   : bit / 8 == 2 ? ERROR_VERSION
                                                  : ERROR_CHECKSUM;
        assert_int_equal(error.code, expected);
        bytes[bit / 8] ^= (uint8_t)(1u << bit % 8);
    }
    wire_arena_free(&arena);
}

static void random_octets_never_crash_and_never_take_more_than_the_cap(void **state)
{
    (void)state;
    uint8_t bytes[512];
    struct fixture fixture;
    struct wire_arena arena = {0};
    uint64_t seed = 7;
    for (int round = 0; round < 20000; round++) {
        size_t length = small_message(&fixture, bytes, sizeof bytes);
        size_t damaged = next_random(&seed) % 6 + 1;
        for (size_t i = 0; i < damaged; i++) {
            size_t at = AT_BLOCK_COUNT + next_random(&seed) % (length - AT_BLOCK_COUNT);
            bytes[at] = (uint8_t)next_random(&seed);
        }
        renew_checksum(bytes, length);
        struct frame read;
        struct error error = {0};
        if (wire_decode(bytes, length, &arena, &read, &error) != 0) {
            assert_true(error.code != ERROR_NONE && error.text[0] != '\0');
        }
        /* Each sample takes an octet at least, so no more than the message's length is held. */
        assert_true(arena.counts_size <= 2 * sizeof bytes && arena.times_size <= 2 * sizeof bytes);
        assert_true(arena.decimals_size <= 2 * sizeof bytes);
    }
    wire_arena_free(&arena);
}

static void a_told_number_of_samples_is_not_believed(void **state)
{
    (void)state;
    uint8_t bytes[512] = {0};
    struct fixture fixture;
    (void)small_message(&fixture, bytes, sizeof bytes);
    struct bytes_writer writer = bytes_writer_of(bytes, sizeof bytes);
    writer.length = AT_BLOCK_COUNT;
    bytes_write_u16(&writer, 1);
    bytes_write_u8(&writer, 0);
    bytes_write_u8(&writer, 0);
    bytes_write_varint(&writer, BLOCK_SAMPLES_MAX);
    bytes_write_zigzag(&writer, 0);
    bytes_write_varint(&writer, 1000);
    renew_checksum(bytes, writer.length);
    struct wire_arena arena = {0};
    struct frame read;
    struct error error = {0};
    assert_int_equal(wire_decode(bytes, writer.length, &arena, &read, &error), -1);
    assert_error(error, ERROR_RANGE, "block 0: more samples");
    assert_null(arena.counts);
    wire_arena_free(&arena);
}

static void times_that_stand_still_or_leave_int64_are_refused(void **state)
{
    (void)state;
    const uint64_t steps[] = {0, UINT64_MAX, INT64_MAX};
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        uint8_t bytes[512] = {0};
        struct fixture fixture;
        (void)small_message(&fixture, bytes, sizeof bytes);
        struct bytes_writer writer = bytes_writer_of(bytes, sizeof bytes);
        writer.length = AT_BLOCK_COUNT;
        bytes_write_u16(&writer, 1);
        bytes_write_u8(&writer, 0);
        bytes_write_u8(&writer, 2); /* explicit times */
        bytes_write_varint(&writer, 2);
        bytes_write_zigzag(&writer, 0);
        bytes_write_varint(&writer, steps[i]);
        bytes_write_zigzag(&writer, 1);
        bytes_write_zigzag(&writer, 1);
        renew_checksum(bytes, writer.length);
        struct wire_arena arena = {0};
        struct frame read;
        struct error error = {0};
        assert_int_equal(wire_decode(bytes, writer.length, &arena, &read, &error), -1);
        assert_error(error, ERROR_RANGE, "block 0: times out of range or not rising");
        wire_arena_free(&arena);
    }
}

static void what_may_not_be_sent_is_refused_by_its_block(void **state)
{
    (void)state;
    uint8_t bytes[512];
    struct fixture fixture;
    size_t length = 0;
    struct error error = {0};
    (void)small_message(&fixture, bytes, sizeof bytes);
    struct frame bad = fixture.frame;
    bad.blocks[1].channel = NODE_CHANNELS_MAX;
    assert_int_equal(wire_encode(&bad, bytes, sizeof bytes, &length, &error), -1);
    assert_error(error, ERROR_RANGE, "block 1: channel");
    bad = fixture.frame;
    bad.blocks[0].count = BLOCK_SAMPLES_MAX + 1;
    assert_int_equal(wire_encode(&bad, bytes, sizeof bytes, &length, &error), -1);
    assert_error(error, ERROR_RANGE, "block 0: too many");
    bad = fixture.frame;
    int64_t falling[] = {1000, 1001, 1001};
    bad.blocks[1].times_ns = falling;
    assert_int_equal(wire_encode(&bad, bytes, sizeof bytes, &length, &error), -1);
    assert_error(error, ERROR_RANGE, "block 1: times");
    bad = fixture.frame;
    bad.blocks[0].period_ps = INT64_MAX;
    bad.blocks[0].t0_ns = (INT64_C(1) << 62) - 2;
    assert_int_equal(wire_encode(&bad, bytes, sizeof bytes, &length, &error), -1);
    assert_error(error, ERROR_RANGE, "block 0: times");
    bad = fixture.frame;
    bad.oldest_seq = bad.seq + 1;
    assert_int_equal(wire_encode(&bad, bytes, sizeof bytes, &length, &error), -1);
    assert_error(error, ERROR_RANGE, "oldest sequence number");
    assert_int_equal(wire_encode(&fixture.frame, bytes, 90, &length, &error), -1);
    assert_error(error, ERROR_FULL, "does not fit");
}

static void a_message_waiting_can_be_peeked_at_and_stamped_once(void **state)
{
    (void)state;
    uint8_t bytes[512];
    struct fixture fixture;
    size_t length = small_message(&fixture, bytes, sizeof bytes);
    struct error error = {0};
    uint64_t boot = 0;
    uint64_t seq = 0;
    assert_int_equal(wire_peek(bytes, length, &boot, &seq, &error), 0);
    assert_true(boot == UINT64_C(0x0123456789abcdef) && seq == 7);

    struct clock_fit fit = {.known = true, .ref_node_ns = 5, .offset_ns = 6, .uncertainty_ns = 7};
    struct wire_arena arena = {0};
    struct frame read;
    fit.utc = true;
    assert_int_equal(wire_restamp(bytes, length, 5, &fit, &error), 0);
    assert_int_equal(wire_decode(bytes, length, &arena, &read, &error), 0);
    assert_int_equal(read.oldest_seq, 5);
    assert_true(read.fit.known && read.fit.utc);
    assert_int64_equal(read.fit.offset_ns, 6);

    struct clock_fit later = {.known = true, .offset_ns = 99};
    assert_int_equal(wire_restamp(bytes, length, 6, &later, &error), 0);
    assert_int_equal(wire_decode(bytes, length, &arena, &read, &error), 0);
    assert_int_equal(read.oldest_seq, 6);
    assert_true(read.fit.utc);
    assert_int64_equal(read.fit.offset_ns, 6);
    assert_int_equal(read.block_count, 3);
    assert_blocks_equal(&read.blocks[2], &fixture.frame.blocks[2]);
    wire_arena_free(&arena);
}

static void a_hole_s_reason_that_is_not_plain_text_is_refused(void **state)
{
    (void)state;
    static const char damage[] = {'\0', '\n', '\x7f', (char)0x80};
    struct fixture fixture;
    uint8_t bytes[1024];
    (void)small_message(&fixture, bytes, sizeof bytes);
    fixture.frame.hole_count = 1;
    fixture.frame.holes[0] = (struct hole){
        .channel = 1, .start_ns = 1000, .end_ns = 2000, .reason = "XYZ: its line was out"};
    size_t length = 0;
    struct error error = {0};
    assert_int_equal(wire_encode(&fixture.frame, bytes, sizeof bytes, &length, &error), 0);
    char *reason = memmem(bytes, length, "XYZ", 3);
    assert_non_null(reason);
    struct wire_arena arena = {0};
    struct frame frame;
    for (size_t i = 0; i < sizeof damage; i++) {
        reason[1] = damage[i];
        renew_checksum(bytes, length);
        error = (struct error){0};
        assert_int_equal(wire_decode(bytes, length, &arena, &frame, &error), -1);
        assert_int_not_equal(error.code, ERROR_NONE);
    }
    wire_arena_free(&arena);
}

static void a_damaged_message_gets_no_fresh_checksum(void **state)
{
    (void)state;
    uint8_t bytes[512];
    struct fixture fixture;
    size_t length = small_message(&fixture, bytes, sizeof bytes);
    struct error error = {0};
    bytes[length - 1] ^= 1;
    assert_int_equal(wire_restamp(bytes, length, 5, NULL, &error), -1);
    assert_error(error, ERROR_CHECKSUM, "checksum");
    bytes[length - 1] ^= 1;
    assert_int_equal(wire_restamp(bytes, length, 8, NULL, &error), -1);
    assert_error(error, ERROR_RANGE, "oldest");
    assert_int_equal(wire_restamp(bytes, length, 7, NULL, &error), 0);
}

static void a_second_of_a_busy_node_stays_small(void **state)
{
    (void)state;
    static int32_t counts[250];
    static uint8_t bytes[4096];
    uint64_t seed = 3;
    struct frame frame = {.boot = 1, .seq = 1, .oldest_seq = 1, .block_count = 3};
    for (size_t i = 0; i < 250; i++) {
        counts[i] = 1600 + (int32_t)(next_random(&seed) % 61) - 30;
    }
    for (uint16_t i = 0; i < 3; i++) {
        frame.blocks[i] =
            (struct block){.channel = i, .count = 250, .period_ps = 4000000000, .counts = counts};
    }
    size_t length = 0;
    struct error error = {0};
    assert_int_equal(wire_encode(&frame, bytes, sizeof bytes, &length, &error), 0);
    /* One octet a sample while neighbours differ by less than 64 counts. */
    assert_true(length < HEAD_SIZE + 3 * (250 + 16));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(any_frame_comes_back_and_has_one_spelling),
        cmocka_unit_test(every_truncation_and_every_added_octet_is_an_error),
        cmocka_unit_test(every_single_flipped_bit_is_an_error),
        cmocka_unit_test(random_octets_never_crash_and_never_take_more_than_the_cap),
        cmocka_unit_test(a_told_number_of_samples_is_not_believed),
        cmocka_unit_test(times_that_stand_still_or_leave_int64_are_refused),
        cmocka_unit_test(what_may_not_be_sent_is_refused_by_its_block),
        cmocka_unit_test(a_message_waiting_can_be_peeked_at_and_stamped_once),
        cmocka_unit_test(a_hole_s_reason_that_is_not_plain_text_is_refused),
        cmocka_unit_test(a_damaged_message_gets_no_fresh_checksum),
        cmocka_unit_test(a_second_of_a_busy_node_stays_small),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
