/* All exports, the report and the night itself, one after the other, into a bundle.
 * Must never alter the night. Called by cmd_export.c and record/page.c. */
#include "collector/export/bundle.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "collector/export/bundle_readme.h"
#include "collector/export/bundle_store.h"
#include "collector/export/report.h"
#include "collector/export/scratch.h"
#include "common/clock.h"

#define COPY_SIZE 262144
/* A sample in the largest of the formats: measured 62 with long names, and some more. */
#define SENML_SAMPLE_BYTES 80

struct bundle {
    const char *night_path;
    struct night_reader *reader;
    const struct export_options *options;
    struct bundle_store store;
    size_t done; /* files */
    struct error *error;
};

static int put_readme(struct bundle *bundle, const struct export_options *options, FILE *out)
{
    return bundle_readme_write(bundle->reader, options, out, bundle->error);
}

static int put_report(struct bundle *bundle, const struct export_options *options, FILE *out)
{
    return report_write(bundle->reader, "night.sqlite", options, out, bundle->error);
}

static int put_site(struct bundle *bundle, const struct export_options *options, FILE *out)
{
    struct text text = {0};
    (void)options;
    int result = night_read_site_text(bundle->reader, &text, bundle->error);
    if (result == 0 && fwrite(text.bytes, 1, text.length, out) != text.length) {
        result = whole_fail(bundle->store.path, bundle->error);
    }
    text_free(&text);
    return result;
}

static int copy_all(struct bundle *bundle, int descriptor, FILE *out)
{
    const struct export_options *options = bundle->options;
    char *bytes = malloc(COPY_SIZE);
    ssize_t got = 0;
    if (!bytes) {
        return error_set(bundle->error, ERROR_MEMORY, "bundle: out of memory");
    }
    while ((got = read(descriptor, bytes, COPY_SIZE)) > 0) {
        if (options->stop && *options->stop) {
            free(bytes);
            return error_set(bundle->error, ERROR_STATE, "interrupted; nothing was written");
        }
        if (fwrite(bytes, 1, (size_t)got, out) != (size_t)got) {
            free(bytes);
            return whole_fail(bundle->store.path, bundle->error);
        }
    }
    free(bytes);
    return got == 0 ? 0 : whole_fail(bundle->night_path, bundle->error);
}

static int put_night(struct bundle *bundle, const struct export_options *options, FILE *out)
{
    (void)options;
    int descriptor = open(bundle->night_path, O_RDONLY | O_CLOEXEC);
    if (descriptor < 0) {
        return whole_fail(bundle->night_path, bundle->error);
    }
    int result = copy_all(bundle, descriptor, out);
    close(descriptor);
    return result;
}

static int put_seconds(struct bundle *bundle, const struct export_options *options, FILE *out)
{
    struct export_options seconds = *options;
    seconds.per_second = true;
    return exporter_csv.run(bundle->reader, &seconds, out, bundle->error);
}

struct bundle_file {
    const char *name;
    const struct exporter *exporter; /* or else: */
    int (*put)(struct bundle *bundle, const struct export_options *options, FILE *out);
};

static const struct bundle_file bundle_files[] = {
    {"README.txt", NULL, put_readme},
    {"report.html", NULL, put_report},
    {"night.sqlite", NULL, put_night},
    {"site.json", NULL, put_site},
    {"findings.json", &exporter_json, NULL},
    {"captions.vtt", &exporter_webvtt, NULL},
    {"samples.csv", &exporter_csv, NULL},
    {"seconds.csv", NULL, put_seconds},
    {"samples.senml.json", &exporter_senml, NULL},
    {"samples.mseed", &exporter_mseed, NULL},
};
#define BUNDLE_FILES (sizeof bundle_files / sizeof *bundle_files)

/* Of all files together: each counts the same. */
static void on_progress(void *context, int percent)
{
    struct bundle *bundle = context;
    int all = ((int)bundle->done * 100 + percent) / (int)BUNDLE_FILES;
    bundle->options->progress(bundle->options->context, all < 100 ? all : 99);
}

static int put_file(struct bundle *bundle, const struct bundle_file *file)
{
    struct export_options options = *bundle->options;
    FILE *out = NULL;
    options.path = NULL;
    options.context = bundle;
    options.progress = bundle->options->progress ? on_progress : NULL;
    if (bundle_store_begin(&bundle->store, file->name, &out, bundle->error) != 0) {
        return -1;
    }
    int result = file->exporter ? file->exporter->run(bundle->reader, &options, out, bundle->error)
                                : file->put(bundle, &options, out);
    bundle->done++;
    return result == 0 ? bundle_store_end(&bundle->store, bundle->error) : -1;
}

/* Beside a night that was not closed lies a part of it. */
static int check_closed(const char *night_path, const struct night_info *info, struct error *error)
{
    char *log = NULL;
    struct stat there;
    if (asprintf(&log, "%s-wal", night_path) < 0) {
        return error_set(error, ERROR_MEMORY, "bundle: out of memory");
    }
    bool open = info->end_ns == 0 || (stat(log, &there) == 0 && there.st_size > 0);
    free(log);
    return open
               ? error_set(error, ERROR_STATE,
                           "%s: the night was not closed, so its file is not whole yet", night_path)
               : 0;
}

static int put_all(struct bundle *bundle)
{
    for (size_t i = 0; i < BUNDLE_FILES; i++) {
        if (put_file(bundle, &bundle_files[i]) != 0) {
            bundle_store_abandon(&bundle->store);
            return -1;
        }
    }
    return bundle_store_close(&bundle->store, bundle->error);
}

int bundle_write(const char *night_path, struct night_reader *reader,
                 const struct export_options *options, struct error *error)
{
    struct night_info info;
    struct bundle bundle = {
        .night_path = night_path, .reader = reader, .options = options, .error = error};
    if (!options->path) {
        return error_set(error, ERROR_USAGE, "--out: a bundle needs a folder or FILE.tar");
    }
    if (night_read_info(reader, &info, error) != 0 || check_closed(night_path, &info, error) != 0 ||
        bundle_store_open(&bundle.store, options->path, info.id, info.end_ns / NS_PER_S,
                          options->replace, error) != 0) {
        return -1;
    }
    return put_all(&bundle);
}

/* How large the largest of the files may become. */
static int largest_bytes(const char *night_path, struct night_reader *reader, int64_t *bytes,
                         struct error *error)
{
    struct site *site = NULL;
    struct stat night;
    if (stat(night_path, &night) != 0) {
        return whole_fail(night_path, error);
    }
    if (night_read_site(reader, 0, &site, error) != 0) {
        return -1;
    }
    int result = 0;
    *bytes = night.st_size;
    int64_t samples = 0;
    for (uint32_t i = 0; result == 0 && i < site->node_count; i++) {
        struct night_node_summary summary;
        result = night_read_node_summary(reader, i, &summary, error);
        samples += result == 0 ? (int64_t)summary.samples : 0;
    }
    site_free(site);
    *bytes = samples * SENML_SAMPLE_BYTES > *bytes ? samples * SENML_SAMPLE_BYTES : *bytes;
    return result;
}

static int begin_stream(const char *night_path, struct night_reader *reader,
                        struct night_info *info, FILE **scratch, struct error *error)
{
    int64_t bytes = 0;
    if (night_read_info(reader, info, error) != 0 || check_closed(night_path, info, error) != 0 ||
        largest_bytes(night_path, reader, &bytes, error) != 0) {
        return -1;
    }
    return scratch_open(night_path, bytes, scratch, error);
}

int bundle_check(const char *night_path, struct night_reader *reader, struct error *error)
{
    struct night_info info;
    FILE *scratch = NULL;
    if (begin_stream(night_path, reader, &info, &scratch, error) != 0) {
        return -1;
    }
    (void)fclose(scratch);
    return 0;
}

int bundle_stream(const char *night_path, struct night_reader *reader,
                  const struct export_options *options, FILE *out, struct error *error)
{
    struct night_info info;
    FILE *scratch = NULL;
    struct bundle bundle = {
        .night_path = night_path, .reader = reader, .options = options, .error = error};
    if (begin_stream(night_path, reader, &info, &scratch, error) != 0) {
        return -1;
    }
    bundle_store_stream(&bundle.store, out, scratch, info.id, info.end_ns / NS_PER_S);
    return put_all(&bundle);
}
