/* Any bytes from a serial line: samples in order of time on channels that there are, or a bad
 * frame. Must never be linked into a product; libFuzzer calls it. */
#include <stdlib.h>
#include <string.h>

#include "node/board/frame.h"
#include "node/drivers/serial_board.h"

#define STEP_NS 3000000

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static int64_t last_ns[BOARD_CHANNELS];

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

static void after(size_t channel, int64_t time_ns)
{
    require(channel < BOARD_CHANNELS && time_ns > last_ns[channel]);
    last_ns[channel] = time_ns;
}

static void on_samples(void *context, size_t channel, int64_t t0_ns, int64_t period_ps,
                       const int32_t *counts, size_t count)
{
    (void)context;
    volatile int64_t sum = 0; /* every sample is touched */
    require(count > 0 && period_ps > 0);
    for (size_t i = 0; i < count; i++) {
        sum = sum + counts[i];
    }
    after(channel, t0_ns);
    last_ns[channel] = t0_ns + (int64_t)(count - 1) * period_ps / 1000;
}

static void on_change(void *context, size_t channel, int64_t time_ns, int32_t count)
{
    (void)context;
    (void)count;
    after(channel, time_ns);
}

static void on_hole(void *context, size_t channel, int64_t start_ns, int64_t end_ns,
                    const char *reason)
{
    (void)context;
    require(channel < BOARD_CHANNELS && end_ns > start_ns && strlen(reason) > 0);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const struct driver_sink sink = {NULL, on_samples, on_change, on_hole};
    static uint8_t room[FRAME_BYTES_MAX + FRAME_CRC_BYTES];
    struct frame_reader reader = {.bytes = room, .size = sizeof room};
    struct board_setup setup = {
        .baud = 250000, .resonator_ppb = 5000000, .latency_most_ns = 20000000};
    struct serial_board board;
    struct error error = {0};
    int64_t now_ns = INT64_C(1000000000);
    for (size_t i = 0; i < BOARD_CHANNELS; i++) {
        setup.channels[i] = i;
        last_ns[i] = INT64_MIN;
    }
    require(serial_board_init(&board, &setup, now_ns, &error) == 0);
    for (size_t i = 0; i < size; i++) {
        struct report report;
        enum frame_event event = frame_put(&reader, data[i]);
        now_ns += data[i] == 0 ? STEP_NS : 0;
        if (event == FRAME_WHOLE && report_unpack(room, reader.length, &report)) {
            if (serial_board_take(&board, &report, now_ns, reader.length, &sink, &error) != 0) {
                break;
            }
        } else if (event != FRAME_NONE) {
            serial_board_bad(&board);
        }
    }
    return 0;
}
