/* The table of exports, and the way to a whole file or none.
 * Must never know a format. Called by cmd_export.c and the demo's end. */
#include "collector/export/exporter.h"

#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

const struct exporter *const exporters[] = {&exporter_json, &exporter_csv, NULL};

static const struct exporter *find(const char *name, struct error *error)
{
    for (size_t i = 0; exporters[i]; i++) {
        if (strcmp(exporters[i]->name, name) == 0) {
            return exporters[i];
        }
    }
    (void)error_set(error, ERROR_USAGE, "export: no format \"%.32s\"", name);
    return NULL;
}

static int io_error(const char *path, struct error *error)
{
    enum error_code code = errno == ENOSPC || errno == EDQUOT ? ERROR_FULL : ERROR_IO;
    return error_set(error, code, "%s: %s", path, strerror(errno));
}

static int run_into(const struct exporter *exporter, struct night_reader *reader,
                    const struct export_options *options, FILE *out, const char *path,
                    struct error *error)
{
    if (exporter->run(reader, options, out, error) != 0) {
        return -1;
    }
    return fflush(out) == 0 && !ferror(out) ? 0 : io_error(path, error);
}

static int run_to_device(const struct exporter *exporter, struct night_reader *reader,
                         const struct export_options *options, struct error *error)
{
    FILE *out = fopen(options->path, "we");
    if (!out) {
        return io_error(options->path, error);
    }
    int result = run_into(exporter, reader, options, out, options->path, error);
    if (fclose(out) != 0 && result == 0) {
        result = io_error(options->path, error);
    }
    return result;
}

/* So that the new name outlives a power cut. */
static int sync_folder(const char *path, struct error *error)
{
    const char *slash = strrchr(path, '/');
    char *folder = slash ? strndup(path, (size_t)(slash - path) + 1) : strdup(".");
    if (!folder) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", path);
    }
    int descriptor = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    int result = descriptor >= 0 && fsync(descriptor) == 0 ? 0 : io_error(folder, error);
    if (descriptor >= 0) {
        close(descriptor);
    }
    free(folder);
    return result;
}

static int write_whole(const struct exporter *exporter, struct night_reader *reader,
                       const struct export_options *options, char *part, struct error *error)
{
    int descriptor = mkostemp(part, O_CLOEXEC);
    if (descriptor < 0) {
        return io_error(options->path, error);
    }
    FILE *out = fdopen(descriptor, "w");
    if (!out) {
        close(descriptor);
        unlink(part);
        return error_set(error, ERROR_MEMORY, "%s: out of memory", options->path);
    }
    int result = run_into(exporter, reader, options, out, options->path, error);
    if (result == 0 && (fchmod(descriptor, 0644) != 0 || fsync(descriptor) != 0)) {
        result = io_error(options->path, error);
    }
    if (fclose(out) != 0 && result == 0) {
        result = io_error(options->path, error);
    }
    if (result == 0 && rename(part, options->path) != 0) {
        result = io_error(options->path, error);
    }
    if (result != 0) {
        unlink(part);
        return -1;
    }
    return sync_folder(options->path, error);
}

static bool is_plain_or_new(const char *path)
{
    struct stat there;
    return stat(path, &there) != 0 || S_ISREG(there.st_mode);
}

int export_run(const char *name, struct night_reader *reader, const struct export_options *options,
               struct error *error)
{
    const struct exporter *exporter = find(name, error);
    if (!exporter) {
        return -1;
    }
    if (!options->path) {
        return run_into(exporter, reader, options, options->out, "standard output", error);
    }
    if (!is_plain_or_new(options->path)) {
        return run_to_device(exporter, reader, options, error);
    }
    char *part = NULL;
    if (asprintf(&part, "%s.XXXXXX", options->path) < 0) {
        return error_set(error, ERROR_MEMORY, "%s: out of memory", options->path);
    }
    int result = write_whole(exporter, reader, options, part, error);
    free(part);
    return result;
}
