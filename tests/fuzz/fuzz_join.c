/* Any bytes as a pasted join line: an error in words, or what is written and read again.
 * Must never be linked into a product; libFuzzer calls it. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "common/crc.h"
#include "common/join_code.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

static void read_line(const char *line)
{
    static struct join_code code;
    struct text again = {0};
    struct error error = {0};
    if (join_code_read(line, &code, &error) != 0) {
        require(error.code != ERROR_NONE && error.text[0]);
    } else {
        require(join_code_write(&code, &again, &error) == 0);
        require(join_code_read(again.bytes, &code, &error) == 0);
    }
    text_free(&again);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct text line = {0};
    require(text_append(&line, (const char *)data, size) == 0);
    read_line(line.bytes);
    /* And with the check sum that it needs. */
    require(text_append_format(&line, ",%08x", crc32c_update(0, line.bytes, strlen(line.bytes))) ==
            0);
    read_line(line.bytes);
    text_free(&line);
    return 0;
}
