/* Any bytes as a CSV recording: samples that rise in time and count as the first look said, or an
 * error that names the file. Must never be linked into a product; libFuzzer calls it. */
#include "collector/ingest/csv.h"
#include "collector/ingest/series.c" /* what recording*.c stands on */
#include "tests/fuzz/recording_sink.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct recording *recording = NULL;
    struct error error = {0};
    int opened =
        csv_open_bytes("night.csv", (const char *)data, size, fuzz_site(), &recording, &error);
    run_recording(opened, recording, "night.csv", &error);
    return 0;
}
