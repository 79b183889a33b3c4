/* A site in memory: loading, looking up, setting a number, freeing.
 * Must never keep a site that was not checked.
 * Called by both programs and most commands; the JSON is read in site_parse.c. */
#include "common/site.h"

#include <stdlib.h>
#include <string.h>

#include "common/site_numbers.h"
#include "common/small_file.h"

const struct site_number site_numbers[SITE_NUMBER_COUNT] = {
    {"mains_hz", offsetof(struct site, mains_hz), 10, 400, 50},
    {"baseline_s", offsetof(struct site, baseline_s), 1, 86400, 600},
    {"false_onsets_per_hour", offsetof(struct site, false_onsets_per_hour), 1e-6, 3600, 0.5},
    {"alert_limit_per_night", offsetof(struct site, alert_limit_per_night), 0, 1e6, 0.1},
    {"order_confidence", offsetof(struct site, order_confidence), 0.5, 0.999999, 0.95},
};

void site_free(struct site *site)
{
    if (site) {
        free(site->rooms);
        free(site->doors);
        free(site->nodes);
        free(site);
    }
}

size_t site_find_node(const struct site *site, const char *id)
{
    for (size_t i = 0; i < site->node_count; i++) {
        if (strcmp(site->nodes[i].id, id) == 0) {
            return i;
        }
    }
    return SIZE_MAX;
}

size_t site_find_room(const struct site *site, const char *id)
{
    for (size_t i = 0; i < site->room_count; i++) {
        if (strcmp(site->rooms[i].id, id) == 0) {
            return i;
        }
    }
    return SIZE_MAX;
}

size_t site_node_find_channel(const struct site_node *node, const char *name)
{
    for (size_t i = 0; i < node->channel_count; i++) {
        if (strcmp(node->channels[i].name, name) == 0) {
            return i;
        }
    }
    return SIZE_MAX;
}

int site_set(struct site *site, const char *key, const char *value, struct error *error)
{
    for (size_t i = 0; i < SITE_NUMBER_COUNT; i++) {
        const struct site_number *number = &site_numbers[i];
        if (strcmp(number->name, key) != 0) {
            continue;
        }
        struct decimal parsed;
        if (decimal_parse(value, strlen(value), &parsed, error) != 0) {
            return error_wrap(error, "%s", key);
        }
        double told = decimal_to_double(parsed);
        if (!(told >= number->low && told <= number->high)) {
            return error_set(error, ERROR_RANGE, "%s: %g is not within %g to %g", key, told,
                             number->low, number->high);
        }
        memcpy((char *)site + number->offset, &told, sizeof told);
        return 0;
    }
    return error_set(error, ERROR_NOT_FOUND, "%s: no such number of a site", key);
}

int site_load(const char *path, struct site **site, char **text, struct error *error)
{
    char *bytes = NULL;
    size_t length = 0;
    int failed = small_file_read(path, SITE_FILE_MAX, &bytes, &length, error);
    if (failed == 0) {
        failed = site_parse(bytes, length, path, site, error);
    }
    if (failed == 0 && text) {
        *text = bytes;
    } else {
        free(bytes);
    }
    return failed;
}
