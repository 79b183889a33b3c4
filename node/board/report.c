/* Reports to bytes and back.
 * Must never trust a length or a count that came over the line. Called by board.c and by the serial
 * driver. */
#include "node/board/report.h"

#define HEAD_BYTES 7u
#define HELLO_BYTES (HEAD_BYTES + 14u)
#define SAMPLES_BYTES(count) ((uint8_t)(HEAD_BYTES + 11u + 2u * (count)))
#define EDGE_BYTES (HEAD_BYTES + 2u)
#define MAGNETIC_BYTES (HEAD_BYTES + 7u)
#define TEMPERATURE_BYTES (HEAD_BYTES + 3u)
#define SUPPLY_BYTES (HEAD_BYTES + 4u)
#define ANSWER_BYTES (HEAD_BYTES + 2u)
#define MOTION_BIT 0x80u /* beside the gain's step */
#define GAIN_BITS 0x07u

static uint8_t *put16(uint8_t *at, uint16_t value)
{
    at[0] = (uint8_t)value;
    at[1] = (uint8_t)(value >> 8);
    return at + 2;
}

static uint8_t *put32(uint8_t *at, uint32_t value)
{
    return put16(put16(at, (uint16_t)value), (uint16_t)(value >> 16));
}

static uint16_t get16(const uint8_t *at)
{
    return (uint16_t)(at[0] | (uint16_t)((uint16_t)at[1] << 8));
}

static uint32_t get32(const uint8_t *at)
{
    return get16(at) | (uint32_t)get16(at + 2) << 16;
}

static uint8_t *pack_hello(const struct report_hello *hello, uint8_t *at)
{
    *at++ = hello->version;
    *at++ = hello->reset;
    *at++ = hello->fitted;
    *at++ = hello->magnetometer;
    at = put16(at, hello->start);
    at = put32(at, hello->tick_hz);
    at = put16(at, hello->sample_ticks);
    return put16(at, hello->magnetic_ticks);
}

static uint8_t *pack_samples(const struct report_samples *samples, uint8_t *at)
{
    *at++ = samples->lost;
    *at++ = (uint8_t)(samples->gain | (samples->motion ? MOTION_BIT : 0u));
    *at++ = samples->count;
    at = put16(at, samples->high);
    at = put16(at, samples->high_at);
    at = put16(at, samples->low);
    at = put16(at, samples->low_at);
    for (uint8_t i = 0; i < samples->count; i++) {
        at = put16(at, samples->values[i]);
    }
    return at;
}

static uint8_t *pack_small(const struct report *report, uint8_t *at)
{
    switch (report->kind) {
    case REPORT_EDGE:
        *at++ = report->as.edge.level;
        *at++ = report->as.edge.lost;
        return at;
    case REPORT_MAGNETIC:
        *at++ = report->as.magnetic.status;
        for (uint8_t i = 0; i < 3; i++) {
            at = put16(at, (uint16_t)report->as.magnetic.axis[i]);
        }
        return at;
    case REPORT_TEMPERATURE:
        *at++ = report->as.temperature.status;
        return put16(at, (uint16_t)report->as.temperature.sixteenths);
    case REPORT_SUPPLY:
        return put16(put16(at, report->as.supply.reference_counts), report->as.supply.gain_counts);
    default:
        *at++ = report->as.answer.command;
        *at++ = report->as.answer.value;
        return at;
    }
}

uint8_t report_pack(const struct report *report, uint8_t frame[FRAME_BYTES_MAX])
{
    uint8_t *at = frame;
    *at++ = report->kind;
    at = put32(put16(at, report->seq), report->tick);
    if (report->kind == REPORT_HELLO) {
        at = pack_hello(&report->as.hello, at);
    } else if (report->kind == REPORT_SAMPLES) {
        at = pack_samples(&report->as.samples, at);
    } else {
        at = pack_small(report, at);
    }
    return (uint8_t)(at - frame);
}

static bool unpack_hello(const uint8_t *at, struct report_hello *hello)
{
    *hello = (struct report_hello){.version = at[0],
                                   .reset = at[1],
                                   .fitted = at[2],
                                   .magnetometer = at[3],
                                   .start = get16(at + 4),
                                   .tick_hz = get32(at + 6),
                                   .sample_ticks = get16(at + 10),
                                   .magnetic_ticks = get16(at + 12)};
    return hello->tick_hz > 0 && hello->sample_ticks > 0;
}

static bool unpack_samples(const uint8_t *at, uint8_t length, struct report_samples *samples)
{
    uint8_t count = length > HEAD_BYTES + 2u ? at[2] : 0;
    if (count == 0 || count > REPORT_BATCH || length != SAMPLES_BYTES(count)) {
        return false;
    }
    samples->lost = at[0];
    samples->gain = at[1] & GAIN_BITS;
    samples->motion = (at[1] & MOTION_BIT) != 0;
    samples->count = count;
    samples->high = get16(at + 3);
    samples->high_at = get16(at + 5);
    samples->low = get16(at + 7);
    samples->low_at = get16(at + 9);
    for (uint8_t i = 0; i < count; i++) {
        samples->values[i] = get16(at + 11 + 2 * i);
    }
    return true;
}

static bool unpack_magnetic(const uint8_t *at, struct report_magnetic *magnetic)
{
    magnetic->status = at[0];
    for (uint8_t i = 0; i < 3; i++) {
        magnetic->axis[i] = (int16_t)get16(at + 1 + 2 * i);
    }
    return true;
}

static bool unpack_rest(const uint8_t *at, uint8_t length, struct report *report)
{
    switch (report->kind) {
    case REPORT_HELLO:
        return length == HELLO_BYTES && unpack_hello(at, &report->as.hello);
    case REPORT_SAMPLES:
        return unpack_samples(at, length, &report->as.samples);
    case REPORT_EDGE:
        report->as.edge.level = length == EDGE_BYTES && at[0] != 0;
        report->as.edge.lost = length == EDGE_BYTES ? at[1] : 0;
        return length == EDGE_BYTES;
    case REPORT_MAGNETIC:
        return length == MAGNETIC_BYTES && unpack_magnetic(at, &report->as.magnetic);
    case REPORT_TEMPERATURE:
        if (length == TEMPERATURE_BYTES) {
            report->as.temperature =
                (struct report_temperature){.status = at[0], .sixteenths = (int16_t)get16(at + 1)};
        }
        return length == TEMPERATURE_BYTES;
    case REPORT_SUPPLY:
        if (length == SUPPLY_BYTES) {
            report->as.supply = (struct report_supply){get16(at), get16(at + 2)};
        }
        return length == SUPPLY_BYTES;
    case REPORT_ANSWER:
    case REPORT_COMMAND:
        if (length == ANSWER_BYTES) {
            report->as.answer = (struct report_answer){at[0], at[1]};
        }
        return length == ANSWER_BYTES;
    default:
        return false;
    }
}

bool report_unpack(const uint8_t *frame, uint8_t length, struct report *report)
{
    if (length < HEAD_BYTES) {
        return false;
    }
    report->kind = frame[0];
    report->seq = get16(frame + 1);
    report->tick = get32(frame + 3);
    return unpack_rest(frame + HEAD_BYTES, length, report);
}
