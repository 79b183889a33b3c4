/* That samples and times come back from their compact bytes as they were, and garbage does not.
 * Must never depend on chance: seeds are fixed. */
#include "tests/unit/night/fixture.h"

#include "collector/night/codec.h"

static void round_trip(struct codec *codec, const int32_t *counts, uint32_t count,
                       struct codec_bytes *bytes)
{
    struct error error;
    int32_t *back = malloc(count * sizeof *back);
    codec_encode_counts(codec, counts, count, bytes);
    fixture_check(
        codec_decode_counts(codec, bytes->kind, bytes->bytes, bytes->length, count, back, &error),
        &error);
    assert_memory_equal(back, counts, count * sizeof *back);
    assert_true(bytes->length <= (size_t)count * 4);
    free(back);
}

/* The mains at 250 Hz with noise of 4 counts. */
static int32_t hum(uint64_t *seed, uint32_t i, double amplitude)
{
    return 12000 + fixture_noise(seed, 4) + (int32_t)lround(amplitude * sin(2 * M_PI * i / 4.9997));
}

static void counts_of_every_shape_come_back_as_they_were(void **state)
{
    (void)state;
    static const uint32_t lengths[] = {1, 2, 3, 4, 17, 200, 255, 256, 257, 258, 259, 1000, 65536};
    struct codec *codec = codec_new();
    int32_t *counts = malloc(BLOCK_SAMPLES_MAX * sizeof *counts);
    uint64_t seed = 1;
    struct codec_bytes bytes;
    for (int shape = 0; shape < 10; shape++) {
        for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++) {
            for (uint32_t j = 0; j < lengths[i]; j++) {
                const int32_t shapes[] = {7,
                                          fixture_noise(&seed, 4),
                                          (int32_t)fixture_random(&seed),
                                          j % 2 ? INT32_MAX : INT32_MIN,
                                          (int32_t)(100000 * sin(0.01 * j)),
                                          j == lengths[i] / 2 ? INT32_MIN : 0,
                                          (int32_t)(j * 65537u),
                                          hum(&seed, j, 20),
                                          (int32_t)((uint32_t)hum(&seed, j, 1e6) * 2000u),
                                          hum(&seed, j, 40000)};
                counts[j] = shapes[shape];
            }
            round_trip(codec, counts, lengths[i], &bytes);
        }
    }
    free(counts);
    codec_free(codec);
}

static void the_lengths_that_were_measured_hold(void **state)
{
    (void)state;
    struct codec *codec = codec_new();
    int32_t counts[200];
    uint64_t seed = 2;
    struct codec_bytes bytes;
    size_t noise = 0;
    for (int block = 0; block < 100; block++) {
        for (int i = 0; i < 200; i++) {
            counts[i] = 48000 + fixture_noise(&seed, 4);
        }
        round_trip(codec, counts, 200, &bytes);
        noise += bytes.length;
    }
    /* log2(4 sqrt(2 pi e)) = 4.05 bits a sample is what no code can beat. */
    assert_true((double)noise < 100 * 200 * 4.6 / 8);

    counts[100] += 1000000;
    round_trip(codec, counts, 200, &bytes);
    assert_true(bytes.length < 125); /* one spike costs a few bytes, not all */

    for (int i = 0; i < 200; i++) {
        counts[i] = 21500;
    }
    round_trip(codec, counts, 200, &bytes);
    assert_true(bytes.length < 32);

    for (int i = 0; i < 200; i++) {
        counts[i] = (int32_t)lround(5000 * sin(2 * M_PI * i / 4 + 0.3));
    }
    round_trip(codec, counts, 200, &bytes);
    assert_int_equal(bytes.kind, CODEC_PLANES); /* the mains repeats itself */
    assert_true(bytes.length < 64);
    codec_free(codec);
}

/* 1.15 times the entropy of the noise, with hum and drift on it; `bench_codec` has the others. */
static void noise_with_hum_costs_little_more_than_the_noise(void **state)
{
    (void)state;
    enum { COUNT = 8192 };
    struct codec *codec = codec_new();
    static int32_t counts[COUNT];
    uint64_t seed = 3;
    double drift = 0;
    for (uint32_t i = 0; i < COUNT; i++) {
        drift += 0.2 * ((double)(fixture_random(&seed) % 2001) / 1000 - 1);
        counts[i] = hum(&seed, i, 8) + (int32_t)lround(drift);
    }
    struct codec_bytes bytes;
    round_trip(codec, counts, COUNT, &bytes);
    const double entropy_bits = log2(4 * sqrt(2 * M_PI * M_E)); /* of a normal one, Shannon 1948 */
    assert_true((double)bytes.length * 8 < 1.15 * entropy_bits * COUNT);
    assert_true(bytes.kind == CODEC_LPC_RICE || bytes.kind == CODEC_LPC_PLANES);
    codec_free(codec);
}

static void decimals_and_times_come_back_as_they_were(void **state)
{
    (void)state;
    struct codec *codec = codec_new();
    uint64_t seed = 3;
    enum { COUNT = 500 };
    struct decimal decimals[COUNT], back[COUNT];
    int64_t times[COUNT], times_back[COUNT];
    for (int i = 0; i < COUNT; i++) {
        decimals[i].mantissa = (int64_t)fixture_random(&seed) >> (i % 64);
        decimals[i].exponent = (int16_t)(i % 50 == 0 ? -300 + i : -12);
        times[i] =
            i == 0 ? -5 : times[i - 1] + 1 + (int64_t)(fixture_random(&seed) >> (i % 40 + 20));
    }
    decimals[1] = (struct decimal){INT64_MIN, INT16_MIN};
    decimals[2] = (struct decimal){INT64_MAX, INT16_MAX};
    struct error error;
    for (uint32_t count = 1; count <= COUNT; count += 83) {
        memset(back, 0, sizeof back);
        struct codec_bytes bytes;
        codec_encode_decimals(codec, decimals, count, &bytes);
        fixture_check(codec_decode_decimals(codec, bytes.kind, bytes.bytes, bytes.length, count,
                                            back, &error),
                      &error);
        for (uint32_t i = 0; i < count; i++) {
            assert_int64_equal(back[i].mantissa, decimals[i].mantissa);
            assert_int_equal(back[i].exponent, decimals[i].exponent);
        }
        codec_encode_times(codec, times, count, &bytes);
        fixture_check(codec_decode_times(codec, bytes.bytes, bytes.length, times[0], count,
                                         times_back, &error),
                      &error);
        assert_memory_equal(times_back, times, count * sizeof *times);
    }
    codec_free(codec);
}

static void evenly_spaced_times_cost_next_to_nothing(void **state)
{
    (void)state;
    struct codec *codec = codec_new();
    int64_t times[1000];
    for (int i = 0; i < 1000; i++) {
        times[i] = FIXTURE_START_NS + i * INT64_C(20000000);
    }
    struct codec_bytes bytes;
    codec_encode_times(codec, times, 1000, &bytes);
    assert_true(bytes.length < 40);
    codec_free(codec);
}

/* What a decoder is given: a good block, cut or with a byte changed, or nothing but noise. */
static void spoil(uint64_t *seed, uint8_t *bytes, size_t *length)
{
    switch (fixture_random(seed) % 3) {
    case 0:
        *length = fixture_random(seed) % (*length + 1);
        break;
    case 1:
        if (*length > 0) {
            bytes[fixture_random(seed) % *length] = (uint8_t)fixture_random(seed);
        }
        break;
    default:
        for (size_t i = 0; i < *length; i++) {
            bytes[i] = (uint8_t)fixture_random(seed);
        }
        break;
    }
}

static void garbage_ends_in_an_error_or_in_exactly_as_many_samples(void **state)
{
    (void)state;
    static const enum codec_kind kinds[] = {CODEC_RAW,         CODEC_RICE,       CODEC_PLANES,
                                            CODEC_LPC_RICE,    CODEC_LPC_PLANES, CODEC_DECIMAL,
                                            CODEC_DECIMAL_ZSTD};
    struct codec *codec = codec_new();
    uint64_t seed = 4;
    size_t refused = 0;
    for (int round = 0; round < 20000; round++) {
        uint32_t count = 1 + (uint32_t)(fixture_random(&seed) % 600);
        int32_t *counts = malloc(count * sizeof *counts); /* exact, so that ASan sees any excess */
        struct decimal *decimals = malloc(count * sizeof *decimals);
        int64_t *times = malloc(count * sizeof *times);
        for (uint32_t i = 0; i < count; i++) {
            counts[i] = round % 3 == 0 ? hum(&seed, i, 1000)
                                       : fixture_noise(&seed, round % 5 == 0 ? 0.1 : 300);
        }
        struct codec_bytes good;
        codec_encode_counts(codec, counts, count, &good);
        size_t length = good.length;
        uint8_t *bytes = malloc(length ? length : 1);
        memcpy(bytes, good.bytes, length);
        spoil(&seed, bytes, &length);
        enum codec_kind kind = round % 2 ? good.kind : kinds[round / 2 % 7];
        struct error error = {0};
        int result =
            kind < CODEC_DECIMAL
                ? codec_decode_counts(codec, kind, bytes, length, count, counts, &error)
                : codec_decode_decimals(codec, kind, bytes, length, count, decimals, &error);
        if (result != 0) {
            refused++;
            assert_int_equal(error.code, ERROR_FORMAT);
        }
        if (codec_decode_times(codec, bytes, length, 0, count, times, &error) == 0) {
            for (uint32_t i = 1; i < count; i++) {
                assert_true(times[i] > times[i - 1]);
            }
        }
        free(bytes);
        free(counts);
        free(decimals);
        free(times);
    }
    assert_true(refused > 5000);
    codec_free(codec);
}

static void a_block_of_an_impossible_length_is_refused(void **state)
{
    (void)state;
    struct codec *codec = codec_new();
    struct error error;
    const uint8_t bytes[4] = {0};
    int32_t counts[1];
    assert_int_equal(codec_decode_counts(codec, CODEC_RAW, bytes, 4, 0, counts, &error), -1);
    assert_error(error, ERROR_FORMAT, "0 samples");
    assert_int_equal(
        codec_decode_counts(codec, CODEC_RICE, bytes, 4, BLOCK_SAMPLES_MAX + 1, counts, &error),
        -1);
    assert_error(error, ERROR_FORMAT, "65537 samples");
    enum block_encoding encoding;
    assert_int_equal(codec_encoding(5, &encoding), -1);
    codec_free(codec);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(counts_of_every_shape_come_back_as_they_were),
        cmocka_unit_test(the_lengths_that_were_measured_hold),
        cmocka_unit_test(noise_with_hum_costs_little_more_than_the_noise),
        cmocka_unit_test(decimals_and_times_come_back_as_they_were),
        cmocka_unit_test(evenly_spaced_times_cost_next_to_nothing),
        cmocka_unit_test(garbage_ends_in_an_error_or_in_exactly_as_many_samples),
        cmocka_unit_test(a_block_of_an_impossible_length_is_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
