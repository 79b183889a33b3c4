/* The firmware's loop on a chip that is plain memory.
 * Must never need a real chip. Run by ctest. */
#include "tests/unit/test.h"

#include "node/board/board.h"
#include "node/board/sound.h"
#include "tests/unit/board/hal_for_tests.h"

static struct board board;
static uint8_t bytes[FRAME_LINE_MAX];

static int start(void **state)
{
    (void)state;
    memset(&chip, 0, sizeof chip);
    memset(&board, 0, sizeof board);
    return 0;
}

/* All reports that were sent since the last call. */
static size_t take_reports(struct report *reports, size_t size)
{
    struct frame_reader reader = {.bytes = bytes, .size = sizeof bytes};
    size_t count = 0;
    for (size_t i = 0; i < chip.sent_length; i++) {
        if (frame_put(&reader, chip.sent[i]) == FRAME_WHOLE) {
            assert_true(count < size);
            assert_true(report_unpack(reader.bytes, reader.length, &reports[count]));
            count++;
        }
    }
    chip.sent_length = 0;
    return count;
}

static const struct report *find(const struct report *reports, size_t count, uint8_t kind)
{
    for (size_t i = 0; i < count; i++) {
        if (reports[i].kind == kind) {
            return &reports[i];
        }
    }
    return NULL;
}

static void command(uint8_t code, uint8_t value)
{
    struct report report = {.kind = REPORT_COMMAND};
    report.as.answer = (struct report_answer){code, value};
    uint8_t line[FRAME_LINE_MAX];
    uint8_t length = report_pack(&report, line + 1);
    length = frame_encode(line, length);
    memcpy(chip.received, line, length);
    chip.received_length = length;
    chip.received_at = 0;
}

static void a_peak_of_one_conversion_is_in_its_frame(void **state)
{
    (void)state;
    struct report reports[8];
    board_start(&board, RESET_POWER, 1);
    board.sampler.next_tick = 500;
    for (unsigned i = 0; i <= REPORT_BATCH; i++) {
        sampler_take(&board.sampler, (uint16_t)(500 + i));
        if (i == 9) {
            sampler_glance(&board.sampler, 1001, 54);
        }
    }
    board_turn(&board);
    size_t count = take_reports(reports, 8);
    const struct report *samples = find(reports, count, REPORT_SAMPLES);
    assert_non_null(samples);
    assert_int_equal(samples->tick, 500);
    assert_int_equal(samples->as.samples.count, REPORT_BATCH);
    assert_int_equal(samples->as.samples.values[31], 531);
    assert_int_equal(samples->as.samples.high, 1001);
    assert_int_equal(samples->as.samples.high_at, 9 * 250 + 54);
    assert_int_equal(samples->as.samples.low, 500);
}

static void a_slow_reader_loses_samples_by_number_and_no_tick_shifts(void **state)
{
    (void)state;
    board.sampler.next_tick = 1000;
    for (unsigned i = 0; i < 3 * REPORT_BATCH; i++) {
        sampler_take(&board.sampler, (uint16_t)i);
    }
    const struct sample_batch *first = sampler_full(&board.sampler);
    assert_non_null(first);
    assert_int_equal(first->tick, 1000);
    sampler_done(&board.sampler, first);
    const struct sample_batch *second = sampler_full(&board.sampler);
    assert_non_null(second);
    assert_int_equal(second->tick, 1000 + 250 * REPORT_BATCH);
    sampler_done(&board.sampler, second);
    sampler_take(&board.sampler, 7);
    assert_int_equal(board.sampler.lost, REPORT_BATCH);
    assert_int_equal(board.sampler.batches[board.sampler.filling].tick,
                     1000 + 250 * 3 * REPORT_BATCH);
}

static void a_conversion_that_never_came_leaves_its_place_empty(void **state)
{
    (void)state;
    sampler_take(&board.sampler, 1);
    sampler_take(&board.sampler, 2);
    sampler_miss(&board.sampler);
    sampler_take(&board.sampler, 4);
    const struct sample_batch *batch = sampler_full(&board.sampler);
    assert_non_null(batch);
    assert_int_equal(batch->samples.count, 2);
    assert_int_equal(board.sampler.batches[board.sampler.filling].tick, 750);
}

static void edges_come_in_order_and_what_is_too_many_is_counted(void **state)
{
    (void)state;
    struct report reports[16];
    board_start(&board, 0, 1);
    (void)take_reports(reports, 16);
    for (unsigned i = 0; i < SAMPLE_EDGES + 2; i++) {
        sampler_edge(&board.sampler, 100 * i, i % 2);
    }
    board_turn(&board);
    assert_int_equal(take_reports(reports, 16), SAMPLE_EDGES);
    for (unsigned i = 0; i < SAMPLE_EDGES; i++) {
        assert_int_equal(reports[i].tick, 100 * i);
        assert_int_equal(reports[i].as.edge.lost, 2);
    }
}

static void a_frame_without_room_still_counts(void **state)
{
    (void)state;
    struct report reports[4];
    board_start(&board, 0, 1);
    chip.line_full = true;
    sampler_edge(&board.sampler, 1, true);
    board_turn(&board);
    chip.line_full = false;
    sampler_edge(&board.sampler, 2, false);
    board_turn(&board);
    assert_int_equal(take_reports(reports, 4), 2);
    assert_int_equal(reports[1].seq, reports[0].seq + 2);
}

static void a_board_is_silent_until_it_is_told_to_sound(void **state)
{
    (void)state;
    board_start(&board, 0, 1);
    for (int told = 0; told < 2; told++) {
        for (unsigned i = 0; i <= REPORT_BATCH; i++) {
            sampler_take(&board.sampler, (uint16_t)(i % 2 ? 900 : 100));
        }
        board_turn(&board);
        assert_int_equal(chip.tone_duty > 0, told);
        command(COMMAND_SOUND, 10);
        board_turn(&board);
    }
}

static void a_tone_rises_in_pitch_and_loudness_with_the_level(void **state)
{
    (void)state;
    struct sound before = sound_of(2, SOUND_LOUDEST);
    for (uint16_t swing = 3; swing < 1024; swing++) {
        struct sound now = sound_of(swing, SOUND_LOUDEST);
        assert_true(now.top <= before.top);
        assert_true(now.duty <= (now.top + 1) / 2);
        assert_true(now.duty * (before.top + 1) * 101 >= before.duty * (now.top + 1) * 90);
        before = now;
    }
    assert_true(sound_of(1000, 15).top < sound_of(10, 15).top - 60);
    assert_true(sound_of(1000, 3).duty < sound_of(1000, 15).duty);
    assert_int_equal(sound_of(1000, 0).duty, 0);
}

static void a_question_is_answered_with_the_tick_it_came_at(void **state)
{
    (void)state;
    struct report reports[4];
    board_start(&board, 0, 1);
    (void)take_reports(reports, 4);
    chip.ticks = 123456;
    command(COMMAND_PING, 42);
    board_turn(&board);
    assert_int_equal(take_reports(reports, 4), 1);
    assert_int_equal(reports[0].kind, REPORT_ANSWER);
    assert_int_equal(reports[0].as.answer.value, 42);
    assert_int_equal(reports[0].tick, 123451);
}

static void the_gain_follows_the_pot_without_flicker_or_the_host(void **state)
{
    (void)state;
    board_start(&board, 0, 1);
    const uint16_t pots[] = {0, 300, 390, 380, 1023};
    const uint8_t steps[] = {0, 2, 2, 2,
                             7}; /* 384 parts 2 from 3: within the slack nothing moves */
    for (int i = 0; i < 5; i++) {
        chip.pot = pots[i];
        for (unsigned k = 0; k <= REPORT_BATCH; k++) {
            sampler_take(&board.sampler, 5);
        }
        board_turn(&board);
        assert_int_equal(board.gain_now, steps[i]);
    }
    command(COMMAND_GAIN, 5);
    board_turn(&board);
    assert_int_equal(chip.gain, 5);
    command(COMMAND_GAIN, 200);
    board_turn(&board);
    assert_int_equal(chip.gain, GAIN_BY_POT);
}

static void the_watchdog_is_left_to_bite_when_samples_stand_still(void **state)
{
    (void)state;
    board_start(&board, 0, 1);
    board_turn(&board);
    assert_int_equal(chip.pats, 1);
    chip.ticks += REPORT_TICK_HZ;
    board_turn(&board);
    assert_int_equal(chip.pats, 1);
    sampler_take(&board.sampler, 1);
    board_turn(&board);
    assert_int_equal(chip.pats, 2);
}

/* The thermometer's checksum over 02 1c b8 01 00 00 00 is a2: the worked example of the maker's
 * application note on it, from memory. */
static void the_thermometers_checksum_has_its_published_value(void **state)
{
    (void)state;
    const uint8_t example[] = {0x02, 0x1c, 0xb8, 0x01, 0x00, 0x00, 0x00};
    assert_int_equal(thermometer_crc(example, sizeof example), 0xa2);
}

static struct report measure_temperature(const uint8_t *scratchpad)
{
    struct report reports[32];
    for (int i = 0; i < 72; i++) {
        chip.wire_bits[i] = (scratchpad[i / 8] >> i % 8) & 1;
    }
    for (int i = 0; i < 2000; i++) {
        chip.ticks += 250;
        board_turn(&board);
        size_t count = take_reports(reports, 32);
        const struct report *found = find(reports, count, REPORT_TEMPERATURE);
        if (found) {
            return *found;
        }
        board.sampler.alive = true;
    }
    fail_msg("no temperature came");
    return reports[0];
}

static void the_thermometer_gives_its_value_or_says_why_not(void **state)
{
    (void)state;
    uint8_t cold[9] = {0x5e, 0xff, 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10}; /* -10.125 degrees */
    uint8_t reset[9] = {0x50, 0x05, 0x4b, 0x46, 0x7f, 0xff, 0x0c, 0x10};
    cold[8] = thermometer_crc(cold, 8);
    reset[8] = thermometer_crc(reset, 8);
    chip.wire_answers = true;
    board_start(&board, 0, 1);
    struct report report = measure_temperature(cold);
    assert_int_equal(report.as.temperature.status, TEMPERATURE_GOOD);
    assert_int64_equal(report.as.temperature.sixteenths, -162);
    assert_int_equal(measure_temperature(reset).as.temperature.status, TEMPERATURE_NOT_CONVERTED);
    cold[3] ^= 1u;
    assert_int_equal(measure_temperature(cold).as.temperature.status, TEMPERATURE_BAD_CRC);
    chip.wire_answers = false;
    assert_int_equal(measure_temperature(cold).as.temperature.status, TEMPERATURE_ABSENT);
}

static void the_magnetometer_measures_on_its_grid_and_says_when_it_is_over(void **state)
{
    (void)state;
    struct report reports[16];
    chip.twi_answers = true;
    memcpy(chip.twi + 10, "H43", 3);
    board_start(&board, 0, 1);
    assert_int_equal(board.magnetometer.part, MAGNETOMETER_1E);
    const uint8_t field[6] = {0x00, 0x10, 0xff, 0xf0, 0x01, 0x00}; /* x 16, z -16, y 256 */
    uint32_t last = 0;
    for (int i = 0; i < 40; i++) {
        chip.ticks += MAGNETIC_TICKS / 13 * 6 + 3;
        memcpy(chip.twi + 3, field, 6);
        if (i == 39) {
            chip.twi[3] = 0xf0;
            chip.twi[4] = 0x00;
        }
        board_turn(&board);
        size_t count = take_reports(reports, 16);
        const struct report *found = find(reports, count, REPORT_MAGNETIC);
        if (found && last && found->as.magnetic.status == MAGNETIC_GOOD) {
            assert_true(found->tick > last);
            assert_int64_equal(found->as.magnetic.axis[0], 16);
            assert_int64_equal(found->as.magnetic.axis[1], 256);
            assert_int64_equal(found->as.magnetic.axis[2], -16);
        }
        last = found ? found->tick : last;
    }
    assert_true(last > 0);
    struct magnetometer part = {.part = MAGNETOMETER_1E, .asked = true};
    struct report_magnetic value;
    uint32_t tick;
    assert_true(magnetometer_turn(&part, 100000, &tick, &value));
    assert_int_equal(value.status, MAGNETIC_SATURATED);
    chip.twi_answers = false;
    part.asked = true;
    assert_true(magnetometer_turn(&part, 200000, &tick, &value));
    assert_int_equal(value.status, MAGNETIC_NO_ANSWER);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(a_peak_of_one_conversion_is_in_its_frame, start),
        cmocka_unit_test_setup(a_slow_reader_loses_samples_by_number_and_no_tick_shifts, start),
        cmocka_unit_test_setup(a_conversion_that_never_came_leaves_its_place_empty, start),
        cmocka_unit_test_setup(edges_come_in_order_and_what_is_too_many_is_counted, start),
        cmocka_unit_test_setup(a_frame_without_room_still_counts, start),
        cmocka_unit_test_setup(a_board_is_silent_until_it_is_told_to_sound, start),
        cmocka_unit_test_setup(a_tone_rises_in_pitch_and_loudness_with_the_level, start),
        cmocka_unit_test_setup(a_question_is_answered_with_the_tick_it_came_at, start),
        cmocka_unit_test_setup(the_gain_follows_the_pot_without_flicker_or_the_host, start),
        cmocka_unit_test_setup(the_watchdog_is_left_to_bite_when_samples_stand_still, start),
        cmocka_unit_test_setup(the_thermometers_checksum_has_its_published_value, start),
        cmocka_unit_test_setup(the_thermometer_gives_its_value_or_says_why_not, start),
        cmocka_unit_test_setup(the_magnetometer_measures_on_its_grid_and_says_when_it_is_over,
                               start),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
