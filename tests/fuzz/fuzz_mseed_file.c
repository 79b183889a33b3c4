/* Any bytes as a miniSEED recording: samples that rise in time and count as the first look said, or
 * an error that names the file. Must never be linked into a product; libFuzzer calls it. */
#include "collector/ingest/mseed_file.c"
#include "collector/ingest/series.c" /* what recording*.c stands on */
#include "tests/fuzz/recording_sink.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const struct mseed_step steps[] = {{"temperature", {1, -3}}};
    struct recording *recording = NULL;
    struct error error = {0};
    int opened = mseed_file_open_bytes("records", (const char *)data, size, fuzz_site(), steps, 1,
                                       &recording, &error);
    run_recording(opened, recording, "records", &error);
    return 0;
}
