/* A join code into a config file.
 * Must never leave half a config, nor one that others may read. Called by main.c. */
#include "node/join.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/join_code.h"
#include "common/json.h"
#include "common/private_file.h"
#include "common/small_file.h"
#include "node/config.h"

static int read_or_begin(const char *path, cJSON **config, struct error *error)
{
    size_t length = 0;
    char *text = NULL;
    if (small_file_read(path, NODE_CONFIG_MAX, &text, &length, error) == 0) {
        int result = json_parse(text, length, path, config, error);
        free(text);
        if (result == 0 && !cJSON_IsObject(*config)) {
            cJSON_Delete(*config);
            result = error_set(error, ERROR_FORMAT, "%s: is no config: no JSON object", path);
        }
        return result;
    }
    if (error->code != ERROR_NOT_FOUND) {
        return -1;
    }
    *config = cJSON_CreateObject();
    cJSON *spool = cJSON_AddObjectToObject(*config, "spool");
    if (!cJSON_AddStringToObject(spool, "path", NODE_JOIN_SPOOL) ||
        !cJSON_AddArrayToObject(*config, "drivers")) {
        cJSON_Delete(*config);
        return error_set(error, ERROR_MEMORY, "config: out of memory");
    }
    return 0;
}

static int write_config(const cJSON *config, const char *path, struct error *error)
{
    char *text = cJSON_Print(config);
    if (!text) {
        return error_set(error, ERROR_MEMORY, "config: out of memory");
    }
    int result = private_file_write(path, text, strlen(text), true, error);
    free(text);
    return result;
}

int node_join(const char *text, const char *path, struct error *error)
{
    struct join_code code;
    cJSON *config = NULL;
    if (join_code_read(text, &code, error) != 0 || read_or_begin(path, &config, error) != 0) {
        return -1;
    }
    int result = join_code_configure(&code, config, error);
    if (result == 0) {
        result = write_config(config, path, error);
    }
    if (result == 0) {
        printf("%s: this is node %s of site %s now, its base station at %s port %d.\n", path,
               code.node, code.site, code.host, code.port);
        if (cJSON_GetArraySize(cJSON_GetObjectItemCaseSensitive(config, "drivers")) == 0) {
            printf("Still to do: name its sensors under \"drivers\" (README, A real site).\n");
        }
    }
    cJSON_Delete(config);
    return result;
}
