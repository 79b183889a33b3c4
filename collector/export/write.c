/* Text on its way to a file, and how far it has come.
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
        return error_set(error, errno == ENOSPC || errno == EDQUOT ? ERROR_FULL : ERROR_IO,
                         "export: %s", strerror(errno));
    }
    text_clear(text);
    return 0;
}

int progress_begin(struct progress *progress, struct night_reader *reader,
                   const struct export_options *options, struct error *error)
{
    struct night_info info;
    if (night_read_info(reader, &info, error) != 0) {
        return -1;
    }
    *progress = (struct progress){.options = options, .percent = -1};
    if (info.end_ns > info.start_ns) {
        int64_t from = options->from_ns > info.start_ns ? options->from_ns : info.start_ns;
        int64_t to = options->to_ns < info.end_ns ? options->to_ns : info.end_ns;
        progress->start_ns = from;
        progress->length_ns = to > from ? to - from : 0;
    }
    return 0;
}

int progress_tell(struct progress *progress, int64_t time_ns, struct error *error)
{
    const struct export_options *options = progress->options;
    if (options->stop && *options->stop) {
        return error_set(error, ERROR_STATE, "interrupted; nothing was written");
    }
    if (!options->progress || progress->length_ns <= 0) {
        return 0;
    }
    double part = ((double)time_ns - (double)progress->start_ns) / (double)progress->length_ns;
    int percent = part <= 0.0 ? 0 : part >= 1.0 ? 100 : (int)(part * 100.0);
    if (percent > progress->percent) {
        progress->percent = percent;
        options->progress(options->context, percent);
    }
    return 0;
}
