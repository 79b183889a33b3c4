/* Reads --analysis and tells the reader. Must never hold logic. Called by three commands. */
#include "collector/choose.h"

#include <stdlib.h>

#define NUMBER_MOST 1000000

int choose_analysis(const struct arguments *arguments, struct night_reader *reader,
                    struct error *error)
{
    const char *text = options_value(arguments, "analysis");
    if (!text) {
        return 0;
    }
    char *end = NULL;
    long number = strtol(text, &end, 10);
    if (end == text || *end != '\0' || number < 1 || number > NUMBER_MOST) {
        return error_set(error, ERROR_USAGE, "--analysis %s: is no number of an analysis", text);
    }
    return night_choose_analysis(reader, (int)number, error);
}
