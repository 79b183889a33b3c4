/* A node that says hello and sends frames of a second to the intake under test.
 * Must never be included by product code, nor twice. */
#ifndef ROOMWAKE_TESTS_UNIT_INGEST_INTAKE_SENDER_H
#define ROOMWAKE_TESTS_UNIT_INGEST_INTAKE_SENDER_H

#include "tests/unit/ingest/intake_fakes.h"

#define BOOT_A UINT64_C(0xA1)
#define BOOT_B UINT64_C(0xB2)
#define OFFSET_NS (T0_NS - 1000 * NS_PER_S) /* the node was up for 1000 s at T0 */

static const char hello_text[] =
    "{\"version\":1,\"boot\":\"%016llx\",\"software\":\"0.1.0\",\"channels\":["
    "{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":50,\"step\":\"1e-09\",\"offset\":\"0\"},"
    "{\"name\":\"motion\",\"unit\":\"/\",\"rate_hz\":0,\"step\":\"1\",\"offset\":\"0\"}]}";

static inline void say_hello(uint64_t boot)
{
    char text[1024];
    (void)snprintf(text, sizeof text, hello_text, (unsigned long long)boot);
    send_text("roomwake/lodge/n2/hello", text);
}

static int32_t counts[50];
static uint8_t bytes[WIRE_MESSAGE_MAX];

/* Second `second` of the node: 50 samples of channel 0. */
static inline size_t make_frame(uint64_t boot, uint64_t seq, uint64_t oldest, int64_t second,
                                const struct clock_fit *fit)
{
    size_t length = 0;
    struct error error;
    struct frame frame = {.boot = boot,
                          .seq = seq,
                          .oldest_seq = oldest,
                          .until_node_ns = (1001 + second) * NS_PER_S,
                          .fit = *fit,
                          .block_count = 1};
    frame.blocks[0] = (struct block){.channel = 0,
                                     .count = 50,
                                     .t0_ns = (1000 + second) * NS_PER_S,
                                     .period_ps = PS_PER_S / 50,
                                     .counts = counts};
    if (wire_encode(&frame, bytes, sizeof bytes, &length, &error)) {
        fail_msg("%s", error.text);
    }
    return length;
}

static const struct clock_fit good_fit = {
    .known = true, .offset_ns = OFFSET_NS, .uncertainty_ns = 123456};

static inline void send_frame(uint64_t boot, uint64_t seq, uint64_t oldest, int64_t second)
{
    size_t length = make_frame(boot, seq, oldest, second, &good_fit);
    if (now_ns < T0_NS + (second + 1) * NS_PER_S) {
        now_ns = T0_NS + (second + 1) * NS_PER_S;
    }
    intake_message(intake, "roomwake/lodge/n2/blocks", bytes, length);
}

#endif
