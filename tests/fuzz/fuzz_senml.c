/* Any bytes as a SenML pack: records in the order of time, or a clear error.
 * Must never be linked into a product; libFuzzer calls it. */
#include <stdint.h>
#include <stdlib.h>

#include "common/senml.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct senml_record *records = NULL;
    size_t count = 0;
    struct error error = {0};
    if (senml_resolve((const char *)data, size, INT64_C(1700000000000000000), &records, &count,
                      &error) == 0) {
        require(count <= SENML_RECORDS_MAX);
        for (size_t i = 1; i < count; i++) {
            require(records[i].time_ns >= records[i - 1].time_ns);
        }
        free(records);
    } else {
        require(error.code != ERROR_NONE && error.text[0] != '\0');
    }
    return 0;
}
