/* The option --analysis of the commands that show findings. Must never hold logic.
 * Used by cmd_review.c, cmd_report.c and cmd_export.c. */
#ifndef ROOMWAKE_COLLECTOR_CHOOSE_H
#define ROOMWAKE_COLLECTOR_CHOOSE_H

#include "collector/night/reader.h"
#include "collector/options.h"

#define CHOOSE_OPTION                                                                              \
    {                                                                                              \
        "analysis", "N", false,                                                                    \
            "show this one's findings (see review), not those of the newest by the live clocks"    \
    }

/* 0, also where the option is not given. */
int choose_analysis(const struct arguments *arguments, struct night_reader *reader,
                    struct error *error);

#endif
