/* A node's identity as one line of text, and from there into its config.
 * Must never take a line that was not copied whole. Called by enrolment and node/join.c. */
#include "common/join_code.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "common/crc.h"

#define VERSION "rw1"
#define PEM_BEGIN "-----BEGIN CERTIFICATE-----\n"
#define PEM_END "-----END CERTIFICATE-----\n"
#define PEM_LINE 64
#define FIELD_COUNT 9
#define CRC_DIGITS 8
#define LETTERS "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
#define DIGITS "0123456789"

/* The lines between BEGIN and END as one. */
static int append_authority(const char *pem, struct text *out)
{
    const char *from = strstr(pem, PEM_BEGIN);
    const char *to = from ? strstr(from, PEM_END) : NULL;
    if (!to) {
        return -1;
    }
    for (const char *c = from + strlen(PEM_BEGIN); c < to; c++) {
        if (*c != '\n' && text_append(out, c, 1) != 0) {
            return -1;
        }
    }
    return 0;
}

int join_code_write(const struct join_code *code, struct text *out, struct error *error)
{
    size_t start = out->length;
    int result = text_append_format(out, VERSION ",%s,%s,%s,%d,%s,%d,%s,", code->node, code->site,
                                    code->host, code->port, code->time_host, code->time_port,
                                    code->password);
    if (result != 0 || append_authority(code->authority, out) != 0) {
        return error_set(error, ERROR_FORMAT, "join code: the authority is no certificate (PEM)");
    }
    uint32_t crc = crc32c_update(0, out->bytes + start, out->length - start);
    return text_append_format(out, ",%08x", crc) == 0
               ? 0
               : error_set(error, ERROR_MEMORY, "join code: out of memory");
}

static int fail(const char *what, struct error *error)
{
    return error_set(error, ERROR_FORMAT, "join code: %s", what);
}

static int take_ident(const char *field, char out[IDENT_SIZE])
{
    size_t length = strlen(field);
    if (!ident_valid(field, length)) {
        return -1;
    }
    memcpy(out, field, length + 1);
    return 0;
}

static int take(const char *field, const char *allowed, char *out, size_t size)
{
    size_t length = strlen(field);
    if (length == 0 || length >= size || strspn(field, allowed) != length) {
        return -1;
    }
    memcpy(out, field, length + 1);
    return 0;
}

static int take_port(const char *field, int *port)
{
    size_t length = strlen(field);
    if (length == 0 || length > 5 || strspn(field, DIGITS) != length) {
        return -1;
    }
    *port = atoi(field);
    return *port >= 1 && *port <= 65535 ? 0 : -1;
}

static int take_authority(const char *field, char out[JOIN_AUTHORITY_SIZE])
{
    size_t length = strlen(field);
    struct text pem = {0};
    if (length == 0 || strspn(field, LETTERS DIGITS "+/=") != length) {
        return -1;
    }
    int result = text_append_format(&pem, PEM_BEGIN);
    for (size_t at = 0; at < length; at += PEM_LINE) {
        result |= text_append_format(&pem, "%.*s\n", PEM_LINE, field + at);
    }
    result |= text_append_format(&pem, PEM_END);
    result = result == 0 && pem.length < JOIN_AUTHORITY_SIZE ? 0 : -1;
    if (result == 0) {
        memcpy(out, pem.bytes, pem.length + 1);
    }
    text_free(&pem);
    return result;
}

/* Cuts the copy at its commas; the check sum has been looked at by then. */
static int read_fields(char *copy, struct join_code *code, struct error *error)
{
    static const char host_letters[] = LETTERS DIGITS ".-:";
    char *fields[FIELD_COUNT];
    size_t count = 0;
    char *rest = copy;
    for (char *field = strsep(&rest, ","); field; field = strsep(&rest, ",")) {
        if (count == FIELD_COUNT) {
            return fail("has too many parts", error);
        }
        fields[count++] = field;
    }
    if (count != FIELD_COUNT || strcmp(fields[0], VERSION) != 0) {
        return fail("is of no kind that is known here", error);
    }
    if (take_ident(fields[1], code->node) != 0 || take_ident(fields[2], code->site) != 0 ||
        take(fields[3], host_letters, code->host, sizeof code->host) != 0 ||
        take_port(fields[4], &code->port) != 0 ||
        take(fields[5], host_letters, code->time_host, sizeof code->time_host) != 0 ||
        take_port(fields[6], &code->time_port) != 0 ||
        take(fields[7], LETTERS DIGITS, code->password, sizeof code->password) != 0 ||
        take_authority(fields[8], code->authority) != 0) {
        return fail("one of its parts is malformed", error);
    }
    return 0;
}

int join_code_read(const char *text, struct join_code *code, struct error *error)
{
    memset(code, 0, sizeof *code);
    const char *comma = strrchr(text, ',');
    char crc[CRC_DIGITS + 1] = "";
    if (comma) {
        (void)snprintf(crc, sizeof crc, "%08x", crc32c_update(0, text, (size_t)(comma - text)));
    }
    if (!comma || strcmp(comma + 1, crc) != 0) {
        return fail("was not copied whole (its check sum is off)", error);
    }
    char *copy = strndup(text, (size_t)(comma - text));
    if (!copy) {
        return error_set(error, ERROR_MEMORY, "join code: out of memory");
    }
    int result = read_fields(copy, code, error);
    free(copy);
    return result;
}

static int set_text(cJSON *config, const char *field, const char *text)
{
    cJSON *item = cJSON_CreateString(text);
    cJSON_DeleteItemFromObjectCaseSensitive(config, field);
    if (!item || !cJSON_AddItemToObject(config, field, item)) {
        cJSON_Delete(item);
        return -1;
    }
    return 0;
}

int join_code_configure(const struct join_code *code, cJSON *config, struct error *error)
{
    char broker[JOIN_HOST_SIZE + JOIN_PASSWORD_SIZE + IDENT_SIZE + 32];
    char time_server[JOIN_HOST_SIZE + 16];
    bool six = strchr(code->host, ':') != NULL;
    bool time_six = strchr(code->time_host, ':') != NULL;
    (void)snprintf(broker, sizeof broker, "mqtts://%s:%s@%s%s%s:%d", code->node, code->password,
                   six ? "[" : "", code->host, six ? "]" : "", code->port);
    (void)snprintf(time_server, sizeof time_server, "%s%s%s:%d", time_six ? "[" : "",
                   code->time_host, time_six ? "]" : "", code->time_port);
    if (set_text(config, "node", code->node) != 0 || set_text(config, "site", code->site) != 0 ||
        set_text(config, "broker", broker) != 0 ||
        set_text(config, "authority", code->authority) != 0 ||
        set_text(config, "time", time_server) != 0) {
        return error_set(error, ERROR_MEMORY, "config: out of memory");
    }
    return 0;
}
