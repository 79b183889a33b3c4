/* Any bytes as a SenML recording: samples that rise in time and count as the first look said, or an
 * error that names the file. Must never be linked into a product; libFuzzer calls it. */
#include "collector/ingest/senml_file.c"
#include "collector/ingest/series.c" /* what recording*.c stands on */
#include "tests/fuzz/recording_sink.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct site *site;
    struct recording *recording = NULL;
    struct error error = {0};
    if (!site && site_parse(site_text, sizeof site_text - 1, "site", &site, &error) != 0) {
        abort();
    }
    if (senml_file_open_bytes("pack", (const char *)data, size, site, &recording, &error) == 0) {
        run_recording(recording);
    } else {
        require(strstr(error.text, "pack") != NULL || error.code == ERROR_MEMORY);
    }
    return 0;
}
