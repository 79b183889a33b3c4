/* Nodes and readers in, and out again.
 * Must never print or log a password: the result holds it, for its owner. Called by cmd_enrol.c. */
#include "collector/enrol/enrol.h"

#include <openssl/crypto.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/enrol/authority.h"
#include "collector/enrol/keys.h"
#include "collector/enrol/users.h"
#include "common/json.h"
#include "common/private_file.h"

/* What a mosquitto of its own needs beside the passwords, ready to be copied. */
static int write_broker_files(const struct keys *keys, const struct authority *authority,
                              const struct enrol_request *request, struct error *error)
{
    struct text certificate;
    struct text key;
    if (authority_certify(authority, request->site->id, request->host, &certificate, &key, error) !=
        0) {
        return -1;
    }
    int result = keys_write(keys, KEYS_BROKER_KEY, key.bytes, key.length, error) ||
                         keys_write(keys, KEYS_BROKER, certificate.bytes, certificate.length, error)
                     ? -1
                     : 0;
    OPENSSL_cleanse(key.bytes, key.length);
    text_free(&certificate);
    text_free(&key);
    return result;
}

static int write_access(const struct keys *keys, const char *site, struct error *error)
{
    struct text passwords;
    struct text access = {0};
    if (keys_read(keys, KEYS_PASSWORDS, &passwords, error) != 0) {
        return -1;
    }
    int result = users_access(site, passwords.bytes, &access) != 0
                     ? error_set(error, ERROR_MEMORY, "access list: out of memory")
                     : keys_write(keys, KEYS_ACCESS, access.bytes, access.length, error);
    text_free(&passwords);
    text_free(&access);
    return result;
}

static int fill_code(const struct enrol_request *request, const struct authority *authority,
                     struct join_code *code, struct error *error)
{
    if (strlen(request->host) >= sizeof code->host ||
        strlen(request->time_host) >= sizeof code->time_host ||
        strlen(authority_pem(authority)) >= sizeof code->authority) {
        return error_set(error, ERROR_RANGE, "a host's name or the authority is too long");
    }
    (void)snprintf(code->node, sizeof code->node, "%s", request->node);
    (void)snprintf(code->site, sizeof code->site, "%s", request->site->id);
    (void)snprintf(code->host, sizeof code->host, "%s", request->host);
    (void)snprintf(code->time_host, sizeof code->time_host, "%s", request->time_host);
    (void)snprintf(code->authority, sizeof code->authority, "%s", authority_pem(authority));
    code->port = request->port;
    code->time_port = request->time_port;
    return 0;
}

static int add(const struct enrol_request *request, const char *user, const struct keys *keys,
               struct enrol_result *result, struct error *error)
{
    struct authority *authority = NULL;
    if (authority_load(keys, request->site->id, &authority, error) != 0) {
        return -1;
    }
    char base[USERS_PASSWORD_SIZE];
    int outcome = users_load_base(keys, base, error) ||
                          fill_code(request, authority, &result->code, error) ||
                          users_make_password(result->code.password, error) ||
                          write_broker_files(keys, authority, request, error) ||
                          users_set(keys, user, result->code.password, &result->replaced, error) ||
                          write_access(keys, request->site->id, error)
                      ? -1
                      : 0;
    OPENSSL_cleanse(base, sizeof base);
    authority_free(authority);
    return outcome;
}

static int enrol(const struct enrol_request *request, const char *user, struct enrol_result *result,
                 struct error *error)
{
    struct keys keys;
    memset(result, 0, sizeof *result);
    if (keys_open(&keys, request->site->id, error) != 0) {
        return -1;
    }
    int outcome = add(request, user, &keys, result, error);
    if (outcome == 0) {
        result->folder = keys.folder;
        keys.folder = NULL;
    }
    keys_close(&keys);
    return outcome;
}

int enrol_node(const struct enrol_request *request, struct enrol_result *result,
               struct error *error)
{
    if (site_find_node(request->site, request->node) == SIZE_MAX) {
        return error_set(error, ERROR_NOT_FOUND, "%s: the site file names no such node",
                         request->node);
    }
    return enrol(request, request->node, result, error);
}

static int reader_user(const char *name, char user[IDENT_SIZE + sizeof USERS_READER],
                       struct error *error)
{
    if (!ident_valid(name, strlen(name))) {
        return error_set(error, ERROR_USAGE, "%s: must be 1 to 32 of a-z, 0-9 and -", name);
    }
    (void)snprintf(user, IDENT_SIZE + sizeof USERS_READER, USERS_READER "%s", name);
    return 0;
}

int enrol_reader(const struct enrol_request *request, struct enrol_result *result,
                 struct error *error)
{
    char user[IDENT_SIZE + sizeof USERS_READER];
    return reader_user(request->node, user, error) != 0 ? -1 : enrol(request, user, result, error);
}

void enrol_result_free(struct enrol_result *result)
{
    OPENSSL_cleanse(&result->code, sizeof result->code);
    free(result->folder);
    result->folder = NULL;
}

int enrol_revoke(const struct site *site, const char *node, bool reader, struct error *error)
{
    char user[IDENT_SIZE + sizeof USERS_READER];
    struct keys keys;
    if (reader && reader_user(node, user, error) != 0) {
        return -1;
    }
    if (!reader && !ident_valid(node, strlen(node))) {
        return error_set(error, ERROR_USAGE, "%s: can't be a node's name", node);
    }
    if (keys_open(&keys, site->id, error) != 0) {
        return -1;
    }
    int result =
        users_remove(&keys, reader ? user : node, error) || write_access(&keys, site->id, error)
            ? -1
            : 0;
    keys_close(&keys);
    return result;
}

static int fill_config(const struct join_code *code, const char *drivers, cJSON *config,
                       struct error *error)
{
    char spool[IDENT_SIZE + 16];
    cJSON *list = NULL;
    if (drivers && json_parse(drivers, strlen(drivers), "drivers", &list, error) != 0) {
        return -1;
    }
    if (list && !cJSON_IsArray(list)) {
        cJSON_Delete(list);
        return error_set(error, ERROR_FORMAT, "drivers: must be a list: [ {\"driver\": ...} ]");
    }
    (void)snprintf(spool, sizeof spool, "%s-spool", code->node);
    if (!list) {
        list = cJSON_CreateArray();
    }
    int result = join_code_configure(code, config, error);
    if (result == 0 &&
        (!cJSON_AddStringToObject(cJSON_AddObjectToObject(config, "spool"), "path", spool) ||
         !list || !cJSON_AddItemToObject(config, "drivers", list))) {
        result = error_set(error, ERROR_MEMORY, "config: out of memory");
    }
    if (result != 0) {
        cJSON_Delete(list);
    }
    return result;
}

int enrol_write_config(const struct join_code *code, const char *drivers, const char *path,
                       bool may_replace, struct error *error)
{
    cJSON *config = cJSON_CreateObject();
    int result = fill_config(code, drivers, config, error);
    char *text = result == 0 ? cJSON_Print(config) : NULL;
    cJSON_Delete(config);
    if (result != 0) {
        return -1;
    }
    result = text ? private_file_write(path, text, strlen(text), may_replace, error)
                  : error_set(error, ERROR_MEMORY, "config: out of memory");
    free(text);
    return result;
}
