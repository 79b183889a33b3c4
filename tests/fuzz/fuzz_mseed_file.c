/* Any bytes as a miniSEED recording: samples that rise in time and count as the first look said, or
 * an error that names the file. Must never be linked into a product; libFuzzer calls it. */
#include "collector/ingest/mseed_file.c"
#include "collector/ingest/series.c" /* what recording*.c stands on */
#include "tests/fuzz/recording_sink.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct site *site;
    static const struct mseed_step steps[] = {{"temperature", {1, -3}}};
    struct recording *recording = NULL;
    struct error error = {0};
    if (!site && site_parse(site_text, sizeof site_text - 1, "site", &site, &error) != 0) {
        abort();
    }
    if (mseed_file_open_bytes("records", (const char *)data, size, site, steps, 1, &recording,
                              &error) == 0) {
        run_recording(recording);
    } else {
        require(strstr(error.text, "records") != NULL || error.code == ERROR_MEMORY);
    }
    return 0;
}
