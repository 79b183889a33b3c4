/* Records from a character device, here a pipe: each whole and in order however the bytes come, an
 * end told after what came before it, and a reader that is never waited for. Must never wait
 * without a deadline. */
#include "tests/unit/test.h"

#include <fcntl.h>
#include <time.h>
#include <unistd.h>

#include "node/drivers/iio_stream.h"

#define SIZE 4u
#define DEADLINE_STEPS 5000
#define RING_RECORDS 4096

struct line {
    int write_end;
    struct iio_stream *stream;
};

static struct line open_line(void)
{
    int ends[2];
    assert_int_equal(pipe2(ends, O_CLOEXEC), 0);
    assert_int_equal(fcntl(ends[0], F_SETFL, O_NONBLOCK), 0);
    struct line line = {.write_end = ends[1], .stream = iio_stream_start(ends[0], SIZE)};
    assert_non_null(line.stream);
    return line;
}

static void put(const struct line *line, const void *bytes, size_t length)
{
    assert_int_equal(write(line->write_end, bytes, length), (ssize_t)length);
}

/* What iio_stream_take says once it says more than "none yet". */
static int take(struct iio_stream *stream, uint8_t record[IIO_RECORD_MOST], struct error *error)
{
    const struct timespec step = {.tv_nsec = 1000000};
    int got = iio_stream_take(stream, record, error);
    for (int i = 0; got == 0 && i < DEADLINE_STEPS; i++) {
        (void)nanosleep(&step, NULL);
        got = iio_stream_take(stream, record, error);
    }
    return got;
}

static void records_come_whole_and_in_order_however_the_bytes_do(void **state)
{
    (void)state;
    struct line line = open_line();
    struct error error;
    uint8_t record[IIO_RECORD_MOST];
    put(&line, "aaaabb", 6);
    assert_int_equal(take(line.stream, record, &error), 1);
    assert_memory_equal(record, "aaaa", SIZE);
    assert_int_equal(iio_stream_take(line.stream, record, &error), 0);
    put(&line, "bbcccc", 6);
    assert_int_equal(take(line.stream, record, &error), 1);
    assert_memory_equal(record, "bbbb", SIZE);
    assert_int_equal(take(line.stream, record, &error), 1);
    assert_memory_equal(record, "cccc", SIZE);
    iio_stream_stop(line.stream);
    (void)close(line.write_end);
}

static void an_end_is_told_after_what_came_before_it(void **state)
{
    (void)state;
    struct line line = open_line();
    struct error error;
    uint8_t record[IIO_RECORD_MOST];
    put(&line, "aaaabbbbcc", 10);
    (void)close(line.write_end);
    assert_int_equal(take(line.stream, record, &error), 1);
    assert_int_equal(take(line.stream, record, &error), 1);
    assert_memory_equal(record, "bbbb", SIZE);
    assert_int_equal(take(line.stream, record, &error), -1);
    assert_non_null(strstr(error.text, "the device ended"));
    assert_int_equal(iio_stream_take(line.stream, record, &error), -1);
    iio_stream_stop(line.stream);
}

static void more_than_is_kept_is_told_and_not_dropped_in_silence(void **state)
{
    (void)state;
    struct line line = open_line();
    struct error error;
    uint8_t record[IIO_RECORD_MOST];
    uint32_t wanted = 0;
    for (uint32_t i = 0; i <= RING_RECORDS; i++) {
        put(&line, &i, sizeof i);
    }
    while (take(line.stream, record, &error) == 1) {
        assert_memory_equal(record, &wanted, sizeof wanted);
        wanted++;
        if (wanted > RING_RECORDS) {
            break; /* they were taken as fast as they came */
        }
    }
    assert_true(wanted >= RING_RECORDS);
    assert_true(wanted > RING_RECORDS || strstr(error.text, "faster than they were taken"));
    iio_stream_stop(line.stream);
    (void)close(line.write_end);
}

static void none_is_let_go_of(void **state)
{
    (void)state;
    iio_stream_stop(NULL);
    struct line line = open_line();
    iio_stream_stop(line.stream); /* while its thread waits for bytes that never come */
    (void)close(line.write_end);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(records_come_whole_and_in_order_however_the_bytes_do),
        cmocka_unit_test(an_end_is_told_after_what_came_before_it),
        cmocka_unit_test(more_than_is_kept_is_told_and_not_dropped_in_silence),
        cmocka_unit_test(none_is_let_go_of),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
