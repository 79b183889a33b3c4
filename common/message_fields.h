/* Fields that several of the small JSON messages share.
 * Must never be used outside the message files. */
#ifndef ROOMWAKE_COMMON_MESSAGE_FIELDS_H
#define ROOMWAKE_COMMON_MESSAGE_FIELDS_H

#include <cjson/cJSON.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"
#include "common/text.h"

#define MESSAGE_VERSION 1
#define MESSAGE_COUNT_MAX 9007199254740991.0 /* 2^53 - 1: what a JSON number carries exactly */

/* Parses a message's object, bounded and with known fields only; *root is the caller's. */
int message_parse(const char *json, size_t length, const char *name, const char *const *fields,
                  cJSON **root, struct error *error);
/* "version" must be there and known. */
int message_read_version(const cJSON *root, const char *name, struct error *error);
/* "boot": 16 hex digits, not all zero. */
int message_read_boot(const cJSON *root, const char *name, uint64_t *boot, struct error *error);
/* {"version":1,"boot":"..." without the closing brace. */
void message_append_head(struct text *out, uint64_t boot);
/* -1 where the text failed at any time. */
int message_finish(const struct text *out);

#endif
