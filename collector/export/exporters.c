/* The table of exports, and where their bytes go.
 * Must never know a format. Called by cmd_export.c, the bundle and the demo's end. */
#include "collector/export/exporter.h"

#include <string.h>

#include "collector/export/whole.h"

const struct exporter *const exporters[] = {&exporter_json,   &exporter_csv,   &exporter_senml,
                                            &exporter_webvtt, &exporter_mseed, NULL};

static const struct exporter *find(const char *name, struct error *error)
{
    for (size_t i = 0; exporters[i]; i++) {
        if (strcmp(exporters[i]->name, name) == 0) {
            return exporters[i];
        }
    }
    (void)error_set(error, ERROR_USAGE, "no format \"%.32s\" (try --help)", name);
    return NULL;
}

int export_run(const char *name, struct night_reader *reader, const struct export_options *options,
               struct error *error)
{
    const struct exporter *exporter = find(name, error);
    if (!exporter) {
        return -1;
    }
    if (!options->path) {
        return exporter->run(reader, options, options->out, error) != 0
                   ? -1
                   : whole_flush(options->out, "standard output", error);
    }
    struct whole whole;
    if (whole_open(&whole, options->path, options->replace, error) != 0) {
        return -1;
    }
    if (exporter->run(reader, options, whole.out, error) != 0) {
        whole_abandon(&whole);
        return -1;
    }
    return whole_close(&whole, error);
}
