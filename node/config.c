/* Reads the node's config file, strictly.
 * Must never open a device or a connection. Called by node/main.c. */
#include "node/config.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/json.h"
#include "common/small_file.h"

#define SPOOL_BYTES_LEAST (1024.0 * 1024.0)
#define SPOOL_BYTES_MOST (1024.0 * 1024.0 * 1024.0 * 1024.0)
#define SPOOL_BYTES_DEFAULT (256.0 * 1024.0 * 1024.0)

static const char *const config_fields[] = {"node",
                                            "site",
                                            "broker",
                                            "authority",
                                            "clock",
                                            "time",
                                            "spool",
                                            "block_s",
                                            "state_every_s",
                                            "time_burst_every_s",
                                            "time_burst_size",
                                            "drivers",
                                            "battery_empty_v",
                                            "calibration",
                                            NULL};
static const char *const spool_fields[] = {"path", "max_bytes", NULL};

static int get_ident(const cJSON *json, const char *field, char out[IDENT_SIZE],
                     struct error *error)
{
    if (json_get_text(json, "config", field, out, IDENT_SIZE, error)) {
        return -1;
    }
    if (!ident_valid(out, strlen(out))) {
        return error_set(error, ERROR_FORMAT, "config.%s: must be 1 to 32 of a-z, 0-9 and -",
                         field);
    }
    return 0;
}

static int get_span(const cJSON *json, const char *field, double low_s, double high_s,
                    double fallback_s, int64_t *ns, struct error *error)
{
    double seconds;
    if (json_get_number_or(json, "config", field, low_s, high_s, fallback_s, &seconds, error)) {
        return -1;
    }
    *ns = (int64_t)llround(seconds * 1e9);
    return 0;
}

/* "host:port" or "[::1]:port". */
static int parse_time_server(const char *text, struct node_config *config, struct error *error)
{
    const char *colon = strrchr(text, ':');
    size_t length = colon ? (size_t)(colon - text) : 0;
    const char *host = text;
    if (length >= 2 && text[0] == '[' && text[length - 1] == ']') {
        host++;
        length -= 2;
    } else if (memchr(text, ':', length)) {
        length = 0;
    }
    char *end = NULL;
    long port = colon && colon[1] >= '0' && colon[1] <= '9' ? strtol(colon + 1, &end, 10) : 0;
    if (length == 0 || length >= sizeof config->time_host || port < 1 || port > 65535 || *end) {
        return error_set(error, ERROR_FORMAT, "config.time: must be HOST:PORT");
    }
    memcpy(config->time_host, host, length);
    config->time_host[length] = '\0';
    config->time_port = (int)port;
    return 0;
}

/* "clock": "site" (the default) asks the time server; "system" believes this machine's kernel. */
static int read_clock(const cJSON *json, struct node_config *config, struct error *error)
{
    char clock[16];
    char time_server[NODE_HOST_SIZE + 8];
    if (json_get_text_or(json, "config", "clock", "site", clock, sizeof clock, error)) {
        return -1;
    }
    config->clock_system = strcmp(clock, "system") == 0;
    if (!config->clock_system && strcmp(clock, "site") != 0) {
        return error_set(error, ERROR_FORMAT, "config.clock: must be \"site\" or \"system\"");
    }
    if (!config->clock_system) {
        return json_get_text(json, "config", "time", time_server, sizeof time_server, error)
                   ? -1
                   : parse_time_server(time_server, config, error);
    }
    if (cJSON_GetObjectItemCaseSensitive(json, "time")) {
        return error_set(error, ERROR_FORMAT,
                         "config.time: with clock \"system\" no time server is asked");
    }
    return 0;
}

/* A relative path starts at the config's folder. */
static int put_in_folder(const struct node_config *config, const char *path,
                         char out[NODE_PATH_SIZE])
{
    bool absolute = path[0] == '/' || !config->dir[0];
    int length = snprintf(out, NODE_PATH_SIZE, "%s%s%s", absolute ? "" : config->dir,
                          absolute ? "" : "/", path);
    return length < 0 || length >= NODE_PATH_SIZE ? -1 : 0;
}

/* "authority": a certificate (PEM) itself, or the path of a file with one. */
static int read_authority(const cJSON *json, struct node_config *config, struct error *error)
{
    if (!cJSON_GetObjectItemCaseSensitive(json, "authority")) {
        return 0;
    }
    if (!config->broker.tls) {
        return error_set(error, ERROR_FORMAT,
                         "config.authority: only with a broker at mqtts://... (TLS)");
    }
    if (json_get_text(json, "config", "authority", config->authority, sizeof config->authority,
                      error)) {
        return -1;
    }
    if (strstr(config->authority, "-----BEGIN CERTIFICATE-----")) {
        config->broker.authority = config->authority;
        return 0;
    }
    char path[NODE_PATH_SIZE];
    if (put_in_folder(config, config->authority, path)) {
        return error_set(error, ERROR_RANGE, "config.authority: too long a path");
    }
    memcpy(config->authority, path, sizeof path);
    config->broker.authority_path = config->authority;
    return 0;
}

static int read_spool(const cJSON *json, struct node_config *config, struct error *error)
{
    const cJSON *spool = cJSON_GetObjectItemCaseSensitive(json, "spool");
    if (!cJSON_IsObject(spool)) {
        return error_set(error, ERROR_FORMAT, "config.spool: must be an object with \"path\"");
    }
    char path[NODE_PATH_SIZE];
    double bytes;
    if (json_check_fields(spool, "config.spool", spool_fields, error) ||
        json_get_text(spool, "config.spool", "path", path, sizeof path, error) ||
        json_get_number_or(spool, "config.spool", "max_bytes", SPOOL_BYTES_LEAST, SPOOL_BYTES_MOST,
                           SPOOL_BYTES_DEFAULT, &bytes, error)) {
        return -1;
    }
    if (!path[0]) {
        return error_set(error, ERROR_FORMAT, "config.spool.path: must not be empty");
    }
    config->spool_max_bytes = (uint64_t)bytes;
    if (put_in_folder(config, path, config->spool_path)) {
        return error_set(error, ERROR_RANGE, "config.spool.path: too long");
    }
    return 0;
}

static int read_calibration(const cJSON *json, struct node_config *config, struct error *error)
{
    char path[NODE_PATH_SIZE];
    char whole[NODE_PATH_SIZE];
    if (json_get_text_or(json, "config", "calibration", "", path, sizeof path, error)) {
        return -1;
    }
    if (!path[0]) {
        return 0;
    }
    if (put_in_folder(config, path, whole)) {
        return error_set(error, ERROR_RANGE, "config.calibration: too long");
    }
    if (channel_calibrations_load(whole, &config->calibration, error)) {
        return error_wrap(error, "config.calibration");
    }
    return strcmp(config->calibration.node, config->node) == 0
               ? 0
               : error_set(error, ERROR_FORMAT, "config.calibration: %s is of node %s, this is %s",
                           whole, config->calibration.node, config->node);
}

static int read_driver(cJSON *item, size_t index, struct node_config *config, struct error *error)
{
    struct node_driver_config *driver = &config->drivers[index];
    char name[64];
    snprintf(driver->path, sizeof driver->path, "drivers[%zu]", index);
    if (!cJSON_IsObject(item)) {
        return error_set(error, ERROR_FORMAT, "%s: must be an object", driver->path);
    }
    if (json_get_text(item, driver->path, "driver", name, sizeof name, error)) {
        return -1;
    }
    driver->type = driver_find(name);
    if (!driver->type) {
        return error_set(error, ERROR_FORMAT, "%s.driver: there is no driver \"%s\"", driver->path,
                         name);
    }
    cJSON_DeleteItemFromObjectCaseSensitive(item, "driver");
    driver->settings = item;
    return 0;
}

static int read_drivers(cJSON *json, struct node_config *config, struct error *error)
{
    const cJSON *drivers;
    if (json_get_array(json, "config", "drivers", &drivers, error)) {
        return -1;
    }
    int count = cJSON_GetArraySize(drivers);
    if (count < 1 || count > NODE_DRIVERS_MAX) {
        return error_set(error, ERROR_RANGE, "config.drivers: must be 1 to %d drivers",
                         NODE_DRIVERS_MAX);
    }
    for (cJSON *item = drivers->child; item; item = item->next) {
        if (read_driver(item, config->driver_count, config, error)) {
            return -1;
        }
        config->driver_count++;
    }
    return 0;
}

static int read_config(cJSON *json, struct node_config *config, struct error *error)
{
    char broker[1024];
    double burst_size;
    if (json_check_fields(json, "config", config_fields, error) ||
        get_ident(json, "node", config->node, error) ||
        get_ident(json, "site", config->site, error) ||
        json_get_text(json, "config", "broker", broker, sizeof broker, error) ||
        mqtt_url_parse(broker, &config->broker, &config->broker_text, error) ||
        read_authority(json, config, error) || read_clock(json, config, error) ||
        get_span(json, "block_s", 0.05, 60.0, 0.7, &config->block_ns, error) ||
        get_span(json, "state_every_s", 0.5, 3600.0, 10.0, &config->state_every_ns, error) ||
        get_span(json, "time_burst_every_s", 1.0, 3600.0, 8.0, &config->burst_every_ns, error) ||
        json_get_number_or(json, "config", "time_burst_size", 1.0, 16.0, 8.0, &burst_size, error) ||
        json_get_number_or(json, "config", "battery_empty_v", 0.5, 100.0, NAN,
                           &config->battery_empty_v, error) ||
        read_spool(json, config, error) || read_calibration(json, config, error)) {
        return -1;
    }
    config->burst_size = (int)burst_size;
    return read_drivers(json, config, error);
}

int node_config_parse(const char *text, size_t length, const char *name, const char *dir,
                      struct node_config *config, struct error *error)
{
    memset(config, 0, sizeof *config);
    if (strlen(dir) >= sizeof config->dir) {
        return error_set(error, ERROR_RANGE, "%s: the path is too long", name);
    }
    memcpy(config->dir, dir, strlen(dir) + 1);
    if (json_parse(text, length, name, &config->json, error)) {
        return -1;
    }
    if (read_config(config->json, config, error)) {
        node_config_free(config);
        return error_wrap(error, "%s", name);
    }
    return 0;
}

int node_config_load(const char *path, struct node_config *config, struct error *error)
{
    memset(config, 0, sizeof *config);
    size_t length = 0;
    char *text = NULL;
    if (small_file_read(path, NODE_CONFIG_MAX, &text, &length, error) != 0) {
        return -1;
    }
    char dir[NODE_PATH_SIZE] = ".";
    const char *slash = strrchr(path, '/');
    if (slash && (size_t)(slash - path) < sizeof dir) {
        size_t size = slash == path ? 1 : (size_t)(slash - path);
        memcpy(dir, path, size);
        dir[size] = '\0';
    }
    int rc = node_config_parse(text, length, path, dir, config, error);
    free(text);
    return rc;
}

void node_config_free(struct node_config *config)
{
    free(config->broker_text);
    cJSON_Delete(config->json);
    memset(config, 0, sizeof *config);
}
