/* One turn: batches, edges, the slow sensors, the host's commands, the watchdog.
 * Must never pat the watchdog while the samples stand still. Called by avr/main.c and by tests. */
#include "node/board/board.h"

#include "node/board/hal.h"
#include "node/board/sound.h"

#define HELLO_TICKS (2u * REPORT_TICK_HZ)
#define SUPPLY_TICKS REPORT_TICK_HZ
#define STILL_TICKS (REPORT_TICK_HZ / 10u)
#define GAIN_STEPS 8u
#define POT_FULL 1024u
#define POT_SLACK 16u /* so that a pot between two steps does not flicker */

/* Sends board->out. */
static void send(struct board *board, enum report_kind kind, uint32_t tick)
{
    board->out.kind = (uint8_t)kind;
    board->out.tick = tick;
    board->out.seq = board->seq++; /* counted even where it finds no room: the host sees the gap */
    uint8_t length = report_pack(&board->out, board->line + 1);
    uint8_t bytes = frame_encode(board->line, length);
    (void)hal_send(board->line, bytes);
}

static void send_hello(struct board *board, uint32_t now)
{
    uint8_t fitted = board->thermometer.seen ? FITTED_THERMOMETER : 0;
    if (board->magnetometer.part != MAGNETOMETER_NONE) {
        fitted |= FITTED_MAGNETOMETER;
    }
    board->out.as.hello = (struct report_hello){.version = REPORT_VERSION,
                                                .reset = board->reset,
                                                .fitted = fitted,
                                                .magnetometer = board->magnetometer.part,
                                                .start = board->start,
                                                .tick_hz = REPORT_TICK_HZ,
                                                .sample_ticks = REPORT_SAMPLE_TICKS,
                                                .magnetic_ticks = MAGNETIC_TICKS};
    send(board, REPORT_HELLO, now);
    board->hello_due = now + HELLO_TICKS;
}

void board_start(struct board *board, uint8_t reset, uint16_t start)
{
    uint32_t now = hal_ticks();
    board->reset = reset;
    board->start = start;
    board->reader.bytes = board->heard;
    board->reader.size = COMMAND_BYTES_MAX;
    board->gain = GAIN_BY_POT;
    hal_set_gain(GAIN_BY_POT);
    magnetometer_find(&board->magnetometer, now);
    board->supply_due = now + SUPPLY_TICKS;
    board->alive_at = now;
    send_hello(board, now);
}

/* ---- what goes out ---- */

static void follow_pot(struct board *board)
{
    if (board->gain != GAIN_BY_POT) {
        board->gain_now = board->gain;
        return;
    }
    uint16_t counts = hal_gain_counts();
    uint16_t width = POT_FULL / GAIN_STEPS;
    uint16_t low = (uint16_t)(board->gain_now * width);
    bool below = counts + POT_SLACK < low;
    bool above = counts > low + width + POT_SLACK;
    if (below || above) {
        board->gain_now = (uint8_t)(counts / width);
    }
}

static void send_samples(struct board *board)
{
    const struct sample_batch *batch = sampler_full(&board->sampler);
    if (!batch) {
        return;
    }
    struct report_samples *samples = &board->out.as.samples;
    uint32_t tick = batch->tick;
    *samples = batch->samples;
    sampler_done(&board->sampler, batch);
    follow_pot(board);
    samples->gain = board->gain_now;
    samples->motion = hal_motion();
    struct sound sound = sound_of((uint16_t)(samples->high - samples->low), board->loudness);
    hal_tone(sound.top, sound.duty);
    send(board, REPORT_SAMPLES, tick);
}

static void send_edges(struct board *board)
{
    struct sample_edge edge;
    while (sampler_next_edge(&board->sampler, &edge)) {
        board->out.as.edge = (struct report_edge){edge.level, board->sampler.edges_lost};
        send(board, REPORT_EDGE, edge.tick);
    }
}

static void send_slow(struct board *board, uint32_t now)
{
    uint32_t tick;
    /* What was sent before took its time: a measurement's tick is when it is asked for. */
    if (magnetometer_turn(&board->magnetometer, hal_ticks(), &tick, &board->out.as.magnetic)) {
        send(board, REPORT_MAGNETIC, tick);
    }
    if (hal_wire_free() &&
        thermometer_turn(&board->thermometer, now, &tick, &board->out.as.temperature)) {
        send(board, REPORT_TEMPERATURE, tick);
    }
    if ((int32_t)(now - board->supply_due) >= 0) {
        board->out.as.supply = (struct report_supply){hal_reference_counts(), hal_gain_counts()};
        send(board, REPORT_SUPPLY, now);
        board->supply_due += SUPPLY_TICKS;
    }
    if ((int32_t)(now - board->hello_due) >= 0) {
        send_hello(board, now);
    }
}

/* ---- what comes in ---- */

static void obey(struct board *board, struct report_answer command, uint32_t tick)
{
    switch (command.command) {
    case COMMAND_PING:
        break;
    case COMMAND_SOUND:
        board->loudness = command.value;
        break;
    case COMMAND_GAIN:
        board->gain = command.value < GAIN_STEPS ? command.value : GAIN_BY_POT;
        hal_set_gain(board->gain);
        break;
    case COMMAND_HELLO:
        send_hello(board, hal_ticks());
        break;
    default:
        return;
    }
    board->out.as.answer = command;
    send(board, REPORT_ANSWER, tick);
}

static void hear(struct board *board)
{
    uint8_t byte;
    uint32_t tick;
    while (hal_receive(&byte, &tick)) {
        struct report *heard = &board->out;
        if (frame_put(&board->reader, byte) == FRAME_WHOLE &&
            report_unpack(board->reader.bytes, board->reader.length, heard) &&
            heard->kind == REPORT_COMMAND) {
            obey(board, heard->as.answer, tick);
        }
    }
}

static void watch(struct board *board, uint32_t now)
{
    if (board->sampler.alive) {
        board->sampler.alive = false;
        board->alive_at = now;
    }
    if (now - board->alive_at < STILL_TICKS) {
        hal_pat_watchdog();
    }
}

void board_turn(struct board *board)
{
    uint32_t now = hal_ticks();
    send_samples(board);
    send_edges(board);
    send_slow(board, now);
    hear(board);
    watch(board, now);
    hal_rest();
}
