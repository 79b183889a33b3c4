/* The version, the boot id and the bounds that all small messages have.
 * Must never let a message of another version through.
 * Called by message.c, message_hello.c and message_state.c. */
#include "common/message_fields.h"

#include <inttypes.h>
#include <string.h>

#include "common/json.h"
#include "common/message.h"

#define BOOT_DIGITS 16

int message_parse(const char *json, size_t length, const char *name, const char *const *fields,
                  cJSON **root, struct error *error)
{
    if (length > MESSAGE_JSON_MAX) {
        return error_set(error, ERROR_RANGE, "%s: %zu bytes, at most %u", name, length,
                         MESSAGE_JSON_MAX);
    }
    if (json_parse(json, length, name, root, error) != 0) {
        return -1;
    }
    if (json_check_fields(*root, name, fields, error) != 0) {
        cJSON_Delete(*root);
        *root = NULL;
        return -1;
    }
    return 0;
}

int message_read_version(const cJSON *root, const char *name, struct error *error)
{
    double version = 0;
    if (json_get_number(root, name, "version", 0, MESSAGE_COUNT_MAX, &version, error) != 0) {
        return -1;
    }
    if (version < MESSAGE_VERSION || version > MESSAGE_VERSION) {
        return error_set(error, ERROR_VERSION, "%s.version: %g, only %d known", name, version,
                         MESSAGE_VERSION);
    }
    return 0;
}

static int hex_digit(char c)
{
    if (c >= '0' && c <= '9') {
        return c - '0';
    }
    return c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
}

int message_read_boot(const cJSON *root, const char *name, uint64_t *boot, struct error *error)
{
    char text[BOOT_DIGITS + 1];
    if (json_get_text(root, name, "boot", text, sizeof text, error) != 0) {
        return -1;
    }
    uint64_t value = 0;
    size_t length = strlen(text);
    for (size_t i = 0; i < length; i++) {
        int digit = hex_digit(text[i]);
        if (digit < 0) {
            return error_set(error, ERROR_FORMAT, "%s.boot: not %d hex digits", name, BOOT_DIGITS);
        }
        value = value << 4 | (uint64_t)digit;
    }
    if (length != BOOT_DIGITS || value == 0) {
        return error_set(error, ERROR_FORMAT, "%s.boot: not %d hex digits, or all zero", name,
                         BOOT_DIGITS);
    }
    *boot = value;
    return 0;
}

void message_append_head(struct text *out, uint64_t boot)
{
    (void)text_append_format(out, "{\"version\":%d,\"boot\":\"%016" PRIx64 "\"", MESSAGE_VERSION,
                             boot);
}

int message_finish(const struct text *out)
{
    return out->failed ? -1 : 0;
}
