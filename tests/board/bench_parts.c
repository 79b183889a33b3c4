/* A magnetometer on the I2C bus (register layout 1e) and a thermometer on the one-wire line, by
 * their data sheets' timing. Must never answer what it was not asked. Called by bench.c. */
#include "tests/board/bench_parts.h"

#include <math.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_twi.h>
#include <simavr/sim_cycle_timers.h>
#include <simavr/sim_irq.h>

#define MAGNETOMETER_ADDRESS 0x1e
#define REG_MODE 2
#define REG_DATA 3
#define MICROSECOND (BENCH_HZ / 1000000)

enum wire_state { WIRE_IDLE, WIRE_COMMAND, WIRE_ANSWER };

/* ---- magnetometer ---- */

static void measure(struct bench *bench)
{
    double t = (double)bench->avr->cycle / BENCH_HZ;
    struct bench_magnetic now = {.cycle = bench->avr->cycle};
    now.axis[0] = (int16_t)lround(250.0 + 100.0 * sin(t));
    now.axis[1] = (int16_t)lround(-120.0 + 37.0 * cos(3.0 * t));
    now.axis[2] = (int16_t)lround(430.0 + (double)(bench->magnetic_count % 11));
    bench->magnetic[bench->magnetic_count++ % 64u] = now;
    static const int order[3] = {0, 2, 1}; /* the part sends x, z, y */
    for (int i = 0; i < 3; i++) {
        uint16_t counts = (uint16_t)now.axis[order[i]];
        bench->registers[REG_DATA + 2 * i] = (uint8_t)(counts >> 8);
        bench->registers[REG_DATA + 2 * i + 1] = (uint8_t)counts;
    }
}

static void take_register(struct bench *bench, uint8_t data)
{
    if (!bench->register_told) {
        bench->register_at = data & 15u;
        bench->register_told = true;
        return;
    }
    bench->registers[bench->register_at & 15u] = data;
    if (bench->register_at == REG_MODE && data == 1) {
        measure(bench);
    }
    bench->register_at++;
}

static void answer(struct bench *bench, uint8_t condition, uint8_t data)
{
    avr_raise_irq(avr_io_getirq(bench->avr, (uint32_t)AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_INPUT),
                  avr_twi_irq_msg(condition, bench->selected, data));
}

static void on_bus(struct avr_irq_t *irq, uint32_t value, void *context)
{
    struct bench *bench = context;
    avr_twi_msg_irq_t told = {.u.v = value};
    (void)irq;
    if (told.u.twi.msg & TWI_COND_STOP) {
        bench->selected = 0;
    }
    if (told.u.twi.msg & TWI_COND_START) {
        bench->selected = 0;
        bench->register_told = false;
        if (told.u.twi.addr >> 1 == MAGNETOMETER_ADDRESS && !bench->magnetometer_gone) {
            bench->selected = told.u.twi.addr;
            answer(bench, TWI_COND_ACK, 1);
        }
    }
    if (bench->selected && (told.u.twi.msg & TWI_COND_WRITE)) {
        answer(bench, TWI_COND_ACK, 1);
        take_register(bench, told.u.twi.data);
    }
    if (bench->selected && (told.u.twi.msg & TWI_COND_READ)) {
        answer(bench, TWI_COND_READ, bench->registers[bench->register_at++ & 15u]);
    }
}

/* ---- thermometer ---- */

static int wire_pin(const struct bench *bench)
{
    return bench->is_32u4 ? 7 : 4;
}

static void set_line(struct bench *bench, bool level)
{
    avr_raise_irq(
        avr_io_getirq(bench->avr, (uint32_t)AVR_IOCTL_IOPORT_GETIRQ('D'), wire_pin(bench)), level);
}

static avr_cycle_count_t release(struct avr_t *avr, avr_cycle_count_t when, void *context)
{
    (void)avr;
    (void)when;
    set_line(context, true);
    return 0;
}

static avr_cycle_count_t be_present(struct avr_t *avr, avr_cycle_count_t when, void *context)
{
    (void)when;
    set_line(context, false);
    avr_cycle_timer_register(avr, 120 * MICROSECOND, release, context);
    return 0;
}

/* By shifting the whole message, not as the firmware does it. */
static uint8_t crc8(const uint8_t *bytes, int length)
{
    uint8_t shift = 0;
    for (int i = 0; i < 8 * length; i++) {
        bool feedback = ((shift ^ (bytes[i / 8] >> i % 8)) & 1) != 0;
        shift >>= 1;
        shift = feedback ? shift ^ 0x8c : shift;
    }
    return shift;
}

static void make_scratchpad(struct bench *bench)
{
    struct bench_wire *wire = &bench->wire;
    uint8_t bytes[9] = {(uint8_t)bench->sixteenths,
                        (uint8_t)((uint16_t)bench->sixteenths >> 8),
                        0x4b,
                        0x46,
                        0x7f,
                        0xff,
                        0x0c,
                        0x10,
                        0};
    bytes[8] = crc8(bytes, 8);
    for (int i = 0; i < 9; i++) {
        wire->scratchpad[i] = bytes[i];
    }
}

static void take_bit(struct bench *bench, bool bit)
{
    struct bench_wire *wire = &bench->wire;
    wire->command = (uint16_t)(wire->command >> 1 | (bit ? 0x8000u : 0u));
    if (++wire->command_bits == 16) {
        wire->state = wire->command == 0xbecc ? WIRE_ANSWER : WIRE_IDLE;
        wire->bit = 0;
        make_scratchpad(bench);
    }
}

static void on_fall(struct bench *bench)
{
    bench->wire.fell_at = bench->avr->cycle;
}

static void on_rise(struct bench *bench)
{
    struct bench_wire *wire = &bench->wire;
    uint64_t low = (bench->avr->cycle - wire->fell_at) / MICROSECOND;
    set_line(bench, true);
    if (low >= 400) {
        wire->state = WIRE_COMMAND;
        wire->command_bits = 0;
        avr_cycle_timer_register(bench->avr, 30 * MICROSECOND, be_present, bench);
    } else if (wire->state == WIRE_COMMAND) {
        take_bit(bench, low < 15);
    } else if (wire->state == WIRE_ANSWER) {
        if (!((wire->scratchpad[wire->bit / 8] >> wire->bit % 8) & 1)) {
            set_line(bench, false);
            avr_cycle_timer_register(bench->avr, 25 * MICROSECOND, release, bench);
        }
        wire->bit = (uint8_t)(wire->bit + 1 < 72 ? wire->bit + 1 : 71);
    }
}

static void on_direction(struct avr_irq_t *irq, uint32_t value, void *context)
{
    struct bench *bench = context;
    bool low = (value >> wire_pin(bench) & 1u) != 0;
    (void)irq;
    if (low != bench->wire.low) {
        bench->wire.low = low;
        if (low) {
            on_fall(bench);
        } else {
            on_rise(bench);
        }
    }
}

void bench_connect_parts(struct bench *bench)
{
    bench->registers[10] = 0x48;
    bench->registers[11] = 0x34;
    bench->registers[12] = 0x33;
    avr_irq_register_notify(
        avr_io_getirq(bench->avr, (uint32_t)AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_OUTPUT), on_bus,
        bench);
    avr_irq_register_notify(
        avr_io_getirq(bench->avr, (uint32_t)AVR_IOCTL_IOPORT_GETIRQ('D'), IOPORT_IRQ_DIRECTION_ALL),
        on_direction, bench);
    set_line(bench, true);
}
