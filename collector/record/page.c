/* A page on a loop of its own, and a night's exports for it.
 * Must never leave a handle open or a thread behind. Called by cmd_serve.c, cmd_plan.c and
 * session_build.c. */
#include "collector/record/page.h"

#include <stdlib.h>
#include <string.h>
#include <uv.h>

#include "collector/export/bundle.h"
#include "collector/export/exporter.h"
#include "collector/export/report.h"
#include "collector/record/page_plan.h"
#include "collector/web/server.h"
#include "common/log.h"
#include "common/small_file.h"

#define PEM_BYTES_MAX (64u * 1024u)

static int write_seconds(const char *path, struct night_reader *reader,
                         const struct export_options *options, struct error *error)
{
    struct export_options seconds = *options;
    (void)path;
    seconds.per_second = true;
    return export_run("csv", reader, &seconds, error);
}

static int write_report(const char *path, struct night_reader *reader,
                        const struct export_options *options, struct error *error)
{
    const char *slash = strrchr(path, '/');
    return report_write(reader, slash ? slash + 1 : path, options, options->out, error);
}

static int write_bundle(const char *path, struct night_reader *reader,
                        const struct export_options *options, struct error *error)
{
    return bundle_stream(path, reader, options, options->out, error);
}

/* What can be had beside the exporters. */
static const struct format {
    const char *name;
    bool closed; /* of a night that is over only */
    int (*write)(const char *path, struct night_reader *reader,
                 const struct export_options *options, struct error *error);
    int (*check)(const char *path, struct night_reader *reader, struct error *error);
} others[] = {{"seconds", false, write_seconds, NULL},
              {"report", false, write_report, NULL},
              {"bundle", true, write_bundle, bundle_check}};
#define OTHERS (sizeof others / sizeof *others)

const char *page_format(size_t index)
{
    size_t count = 0;
    while (exporters[count]) {
        count++;
    }
    if (index < count) {
        return exporters[index]->name;
    }
    return index < count + OTHERS ? others[index - count].name : NULL;
}

/* Those of a night that is over stand last. */
const char *page_format_live(size_t index)
{
    const char *name = page_format(index);
    for (size_t i = 0; name && i < OTHERS; i++) {
        if (others[i].closed && strcmp(name, others[i].name) == 0) {
            return NULL;
        }
    }
    return name;
}

int page_write_night(void *context, const char *name, FILE *out, const volatile sig_atomic_t *stop,
                     struct error *error)
{
    struct night_reader *reader = NULL;
    const struct export_options options = {
        .from_ns = INT64_MIN, .to_ns = INT64_MAX, .out = out, .stop = stop};
    const struct format *format = NULL;
    for (size_t i = 0; i < OTHERS; i++) {
        format = strcmp(name, others[i].name) == 0 ? &others[i] : format;
    }
    if (night_reader_open(context, &reader, error) != 0) {
        return -1;
    }
    int result = 0;
    if (!out) {
        result = format && format->check ? format->check(context, reader, error) : 0;
    } else {
        result = format ? format->write(context, reader, &options, error)
                        : export_run(name, reader, &options, error);
    }
    night_reader_close(reader);
    return result;
}

static int load(const char *path, char **out, struct error *error)
{
    size_t length = 0;
    if (small_file_read(path, PEM_BYTES_MAX, out, &length, error) != 0) {
        return -1;
    }
    if (length == 0) {
        free(*out);
        *out = NULL;
        return error_set(error, ERROR_FORMAT, "%s: is empty", path);
    }
    return 0;
}

int page_load_tls(const struct page_settings *settings, char **certificate, char **key,
                  struct error *error)
{
    *certificate = NULL;
    *key = NULL;
    if (!settings->certificate_path && !settings->key_path) {
        return 0;
    }
    if (!settings->certificate_path || !settings->key_path) {
        return error_set(error, ERROR_USAGE, "--http-cert, --http-key: one needs the other");
    }
    if (load(settings->certificate_path, certificate, error) != 0 ||
        load(settings->key_path, key, error) != 0) {
        free(*certificate);
        *certificate = NULL;
        return -1;
    }
    return 0;
}

struct page {
    uv_loop_t loop;
    uv_signal_t signals[2];
    struct web_server *server;
    struct web_settings settings;
};

static void close_page(struct page *page)
{
    web_server_close(page->server);
    for (size_t i = 0; i < 2; i++) {
        uv_close((uv_handle_t *)&page->signals[i], NULL);
    }
}

static void on_signal(uv_signal_t *signal, int number)
{
    (void)number;
    close_page(signal->data);
}

static void say(const struct page *page)
{
    printf("The page: %s\n", web_server_address(page->server));
    if (web_server_is_open(page->server)) {
        printf("To look, a device is paired with %s; to change things as well, with %s\n",
               web_server_code(page->server, WEB_RIGHT_VIEW),
               web_server_code(page->server, WEB_RIGHT_MARK));
    }
    (void)fflush(stdout);
}

static int run(struct page *page, struct error *error)
{
    static const int numbers[] = {SIGINT, SIGTERM};
    int result = web_server_new(&page->settings, &page->server, error);
    for (size_t i = 0; i < 2; i++) {
        (void)uv_signal_init(&page->loop, &page->signals[i]);
        page->signals[i].data = page;
        (void)uv_signal_start(&page->signals[i], on_signal, numbers[i]);
    }
    if (result == 0) {
        say(page);
    } else {
        close_page(page);
    }
    (void)uv_run(&page->loop, UV_RUN_DEFAULT);
    web_server_free(page->server);
    return result;
}

static int serve(const struct page_settings *settings, const char *night_path,
                 const struct web_actions *actions, struct error *error)
{
    char *certificate = NULL;
    char *key = NULL;
    struct page page = {.settings = {.loop = &page.loop,
                                     .host = settings->host,
                                     .port = settings->port,
                                     .night_path = night_path,
                                     .pair_always = settings->pair_always,
                                     .actions = *actions}};
    if (page_load_tls(settings, &certificate, &key, error) != 0) {
        return -1;
    }
    page.settings.certificate = certificate;
    page.settings.private_key = key;
    int result = -1;
    if (uv_loop_init(&page.loop) != 0) {
        (void)error_set(error, ERROR_MEMORY, "page: no event loop");
    } else {
        result = run(&page, error);
        if (uv_loop_close(&page.loop) != 0) {
            log_error("page: a handle was left open");
        }
    }
    free(certificate);
    free(key);
    return result;
}

int page_serve_night(const char *night_path, const struct page_settings *settings,
                     struct error *error)
{
    struct night_reader *reader = NULL;
    union {
        const char *constant;
        void *pointer;
    } path = {.constant = night_path};
    const struct web_actions actions = {
        .context = path.pointer, .write = page_write_night, .format = page_format};
    if (night_reader_open(night_path, &reader, error) != 0) {
        return -1; /* said at once, not to the first browser */
    }
    night_reader_close(reader);
    return serve(settings, night_path, &actions, error);
}

int page_draw_plan(const char *site_path, const struct page_settings *settings, struct error *error)
{
    struct text text = {0};
    union {
        const char *constant;
        void *pointer;
    } path = {.constant = site_path};
    const struct web_actions actions = {
        .context = path.pointer, .load_plan = page_plan_load, .save_plan = page_plan_save};
    int result = page_plan_load(path.pointer, &text, error);
    text_free(&text);
    return result == 0 ? serve(settings, NULL, &actions, error) : -1;
}
