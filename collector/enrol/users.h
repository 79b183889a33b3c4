/* Who may log in at a site's broker and what each may do, in the broker's own two files.
 * Must never let a name in that would mean something to the broker. Used by enrol and record. */
#ifndef ROOMWAKE_COLLECTOR_ENROL_USERS_H
#define ROOMWAKE_COLLECTOR_ENROL_USERS_H

#include <stdbool.h>

#include "collector/enrol/keys.h"
#include "common/error.h"
#include "common/text.h"

/* Names of others than nodes have a dot, so that no node can be called so. */
#define USERS_BASE "base.station"
#define USERS_READER "reader."
#define USERS_PASSWORD_SIZE 27 /* 26 of 32 characters: 130 bits */

/* A new random password, of letters and digits that can't be taken for each other. */
int users_make_password(char password[USERS_PASSWORD_SIZE], struct error *error);
/* The line of `user` in the password file is added or replaced; *replaced may be NULL. */
int users_set(const struct keys *keys, const char *user, const char *password, bool *replaced,
              struct error *error);
/* The base station's own password; made, with its line in the password file, where there is none.
 */
int users_load_base(const struct keys *keys, char password[USERS_PASSWORD_SIZE],
                    struct error *error);
/* ERROR_NOT_FOUND where there is no such user. */
int users_remove(const struct keys *keys, const char *user, struct error *error);
/* How many nodes there are in a password file's text. */
size_t users_count_nodes(const char *passwords);
/* The access list for a password file's text:
 * - the base station may do anything within its site;
 * - whoever else logged in as NAME may publish NAME/hello, blocks, state and senml, and read
 *   NAME/stored, nothing else;
 * - a reader may read the alerts. */
int users_access(const char *site, const char *passwords, struct text *access);

#endif
