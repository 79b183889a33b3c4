/* Text on its way to a file.
 * Must never lose a failed write. Called by the exports. */
#include "collector/export/write.h"

#include <errno.h>
#include <string.h>

#define PIECE 65536u

int write_text(struct text *text, FILE *out, bool all, struct error *error)
{
    if (text->failed) {
        return error_set(error, ERROR_MEMORY, "export: out of memory");
    }
    if (text->length < PIECE && !all) {
        return 0;
    }
    if (text->length > 0 && fwrite(text->bytes, 1, text->length, out) != text->length) {
        return error_set(error, errno == ENOSPC ? ERROR_FULL : ERROR_IO, "export: %s",
                         strerror(errno));
    }
    text_clear(text);
    return 0;
}
