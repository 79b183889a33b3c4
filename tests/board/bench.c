/* The chip, its converter's inputs, its line, its motion pin. The two bus parts are in
 * bench_parts.c. Must never pace itself: who runs it says how far. Called by the programs of this
 * folder. */
#include "tests/board/bench.h"

#include <math.h>
#include <simavr/avr_adc.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_irq.h>
#include <stdio.h>
#include <string.h>

#include "tests/board/bench_parts.h"

#define SUPPLY_MV 5000u
#define PULSE_MV 1200u
#define SPIKE_MV 1300u
#define SAMPLE_CYCLES ((uint64_t)BENCH_HZ / 1000)
#define STACK_LOW 0x5d
#define STACK_HIGH 0x5e
#define TIMSK1_AT 0x6f

uint16_t bench_counts(uint32_t millivolts)
{
    uint32_t counts = millivolts * 0x3ffu / SUPPLY_MV;
    return (uint16_t)(counts > 1023u ? 1023u : counts);
}

/* Noise that is the same in every run: a few counts, so that no stretch of samples is like another.
 */
static uint32_t noise_mv(uint64_t number)
{
    uint32_t mixed = (uint32_t)number * 2654435761u;
    mixed ^= mixed >> 15;
    mixed *= 2246822519u;
    return (mixed ^ mixed >> 13) % 128u;
}

static bool spiked(struct bench *bench, const struct bench_conversion *one)
{
    if (bench->spike_every && one->cycle - bench->spike_last >= bench->spike_every) {
        bench->spike_last = one->cycle;
        return true;
    }
    bool *once = one->sample ? &bench->spike_sample : &bench->spike_between;
    bool now = *once;
    *once = false;
    return now;
}

/* Hum of 50 Hz, a slow swell, noise; a spike of one conversion now and then. */
static uint32_t antenna_mv(struct bench *bench, const struct bench_conversion *one)
{
    double t = (double)one->cycle / BENCH_HZ;
    double hum = bench->hum_mv * sin(2.0 * 3.14159265358979 * 50.0 * t);
    double swell = bench->swell_mv * sin(2.0 * 3.14159265358979 * 0.1 * t);
    uint32_t mv = (uint32_t)lround(2500.0 + hum + swell) + noise_mv(bench->conversions);
    if (spiked(bench, one)) {
        mv += SPIKE_MV;
    }
    if (one->cycle >= bench->pulse_from && one->cycle < bench->pulse_to) {
        mv += PULSE_MV;
    }
    return mv;
}

/* Notes the conversion that starts now; returns its millivolts. */
static uint32_t convert_antenna(struct bench *bench)
{
    struct bench_conversion *one = &bench->log[bench->conversions % BENCH_LOG];
    one->cycle = bench->avr->cycle;
    /* Seven conversions fit into a millisecond: the first comes after the longest pause. */
    one->sample = bench->conversions == 0 ||
                  one->cycle - bench->sample_cycle > SAMPLE_CYCLES - SAMPLE_CYCLES / 50;
    bench->sample_cycle = one->sample ? one->cycle : bench->sample_cycle;
    uint32_t mv = antenna_mv(bench, one);
    one->counts = bench_counts(mv);
    bench->conversions++;
    return mv;
}

static void on_conversion(struct avr_irq_t *irq, uint32_t value, void *context)
{
    struct bench *bench = context;
    union {
        avr_adc_mux_t mux;
        uint32_t value;
    } told = {.value = value};
    uint32_t antenna = bench->is_32u4 ? 7 : 0;
    uint32_t pot = bench->is_32u4 ? 6 : 1;
    (void)irq;
    if (told.mux.kind != ADC_MUX_SINGLE) {
        return;
    }
    uint32_t mv = 0;
    if (told.mux.src == antenna) {
        mv = convert_antenna(bench);
    } else if (told.mux.src == pot) {
        mv = bench->pot_mv;
    }
    avr_raise_irq(avr_io_getirq(bench->avr, (uint32_t)AVR_IOCTL_ADC_GETIRQ,
                                (int)(ADC_IRQ_ADC0 + told.mux.src)),
                  mv);
}

static char line_name(const struct bench *bench)
{
    return bench->is_32u4 ? '1' : '0';
}

static void on_line_byte(struct avr_irq_t *irq, uint32_t value, void *context)
{
    struct bench *bench = context;
    (void)irq;
    if (bench->on_byte) {
        bench->on_byte(bench->context, (uint8_t)value);
    }
}

static void on_xon(struct avr_irq_t *irq, uint32_t value, void *context)
{
    (void)irq;
    (void)value;
    ((struct bench *)context)->xon = true;
}

static void on_xoff(struct avr_irq_t *irq, uint32_t value, void *context)
{
    (void)irq;
    (void)value;
    ((struct bench *)context)->xon = false;
}

void bench_send(struct bench *bench, uint8_t byte)
{
    bench->sent_cycles[bench->sent++ % BENCH_SENT] = bench->avr->cycle;
    avr_raise_irq(avr_io_getirq(bench->avr, (uint32_t)AVR_IOCTL_UART_GETIRQ(line_name(bench)),
                                UART_IRQ_INPUT),
                  byte);
}

void bench_set_motion(struct bench *bench, bool level)
{
    char port = bench->is_32u4 ? 'D' : 'B';
    int pin = bench->is_32u4 ? 4 : 0;
    if (level == bench->motion) {
        return;
    }
    bench->motion = level;
    bench->edges[bench->edge_count++ % BENCH_EDGES] = (struct bench_edge){bench->avr->cycle, level};
    avr_raise_irq(avr_io_getirq(bench->avr, (uint32_t)AVR_IOCTL_IOPORT_GETIRQ(port), pin), level);
}

void bench_break_timer(struct bench *bench)
{
    bench->avr->data[TIMSK1_AT] = 0;
}

/* The simulator would sleep by the wall clock. */
static void sleep_not(struct avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr;
    (void)cycles;
}

static void connect_line(struct bench *bench)
{
    char name = line_name(bench);
    uint32_t flags = 0;
    avr_ioctl(bench->avr, (uint32_t)AVR_IOCTL_UART_SET_FLAGS(name), &flags);
    avr_irq_register_notify(
        avr_io_getirq(bench->avr, (uint32_t)AVR_IOCTL_UART_GETIRQ(name), UART_IRQ_OUTPUT),
        on_line_byte, bench);
    avr_irq_register_notify(
        avr_io_getirq(bench->avr, (uint32_t)AVR_IOCTL_UART_GETIRQ(name), UART_IRQ_OUT_XON), on_xon,
        bench);
    avr_irq_register_notify(
        avr_io_getirq(bench->avr, (uint32_t)AVR_IOCTL_UART_GETIRQ(name), UART_IRQ_OUT_XOFF),
        on_xoff, bench);
}

int bench_start(struct bench *bench, const char *image, const char *chip)
{
    elf_firmware_t firmware;
    memset(&firmware, 0, sizeof firmware);
    bench->is_32u4 = strcmp(chip, "atmega32u4") == 0;
    if (elf_read_firmware(image, &firmware)) {
        fprintf(stderr, "%s: not an image\n", image);
        return -1;
    }
    bench->avr = avr_make_mcu_by_name(chip);
    if (!bench->avr) {
        fprintf(stderr, "%s: no such chip\n", chip);
        return -1;
    }
    avr_init(bench->avr);
    bench->avr->frequency = BENCH_HZ;
    bench->avr->vcc = SUPPLY_MV;
    bench->avr->avcc = SUPPLY_MV;
    bench->avr->aref = SUPPLY_MV;
    avr_load_firmware(bench->avr, &firmware);
    bench->flash_bytes = firmware.flashsize;
    bench->static_bytes = firmware.datasize + firmware.bsssize;
    bench->avr->frequency = BENCH_HZ;
    bench->avr->sleep = sleep_not;
    bench->avr->log = LOG_ERROR;
    bench->lowest_stack = 0xffff;
    avr_irq_register_notify(
        avr_io_getirq(bench->avr, (uint32_t)AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER),
        on_conversion, bench);
    connect_line(bench);
    bench_connect_parts(bench);
    return 0;
}

bool bench_run(struct bench *bench, uint64_t until_cycle)
{
    struct avr_t *avr = bench->avr;
    while (avr->cycle < until_cycle) {
        uint64_t before = avr->cycle;
        bool asleep = avr->state == cpu_Sleeping;
        int state = avr_run(avr);
        bench->slept += asleep ? avr->cycle - before : 0;
        if (state == cpu_Done || state == cpu_Crashed) {
            return false;
        }
        uint16_t stack = (uint16_t)(avr->data[STACK_LOW] | avr->data[STACK_HIGH] << 8);
        if (stack < bench->lowest_stack && stack > 0x100) {
            bench->lowest_stack = stack;
        }
    }
    return true;
}

void bench_free(struct bench *bench)
{
    avr_terminate(bench->avr);
}

/* The simulator's library keeps what it loaded. */
const char *__lsan_default_suppressions(void);
const char *__lsan_default_suppressions(void)
{
    return "leak:libsimavr\n";
}
