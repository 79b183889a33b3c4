/* The folder that a site's keys are kept in: its authority, its passwords, its base station's own.
 * Must never be readable by others, nor leave half a file behind. Used by the rest of enrol. */
#ifndef ROOMWAKE_COLLECTOR_ENROL_KEYS_H
#define ROOMWAKE_COLLECTOR_ENROL_KEYS_H

#include <stddef.h>

#include "common/error.h"
#include "common/text.h"

#define KEYS_AUTHORITY "authority.pem"
#define KEYS_AUTHORITY_KEY "authority.key"
#define KEYS_BASE "base.password"
#define KEYS_PASSWORDS "passwords" /* changes with who is enrolled */
#define KEYS_ACCESS "access"
#define KEYS_BROKER "broker.pem"
#define KEYS_BROKER_KEY "broker.key"

struct keys {
    char *folder;
    int lock; /* -1: not held */
};

/* $ROOMWAKE_KEYS/SITE, else ~/.local/share/roomwake/sites/SITE; made (mode 0700) and locked against
 * another program that changes it. ERROR_STATE where others may enter the folder. */
int keys_open(struct keys *keys, const char *site, struct error *error);
void keys_close(struct keys *keys);

/* "folder/name"; the caller frees it. NULL without memory. */
char *keys_path(const struct keys *keys, const char *name);
/* The whole file into *text, which the caller frees. ERROR_NOT_FOUND where there is none. */
int keys_read(const struct keys *keys, const char *name, struct text *text, struct error *error);
/* Written aside, synced and renamed; readable by its owner alone. */
int keys_write(const struct keys *keys, const char *name, const char *bytes, size_t length,
               struct error *error);

#endif
