/* What a node needs in order to join a site, as one line that can be pasted, typed or scanned:
 * who it is, where the broker and the time server are, its password, and whom to believe.
 * Must never be believed half: it ends in a check sum. Used by enrolment and by node/join.c. */
#ifndef ROOMWAKE_COMMON_JOIN_CODE_H
#define ROOMWAKE_COMMON_JOIN_CODE_H

#include <cjson/cJSON.h>

#include "common/error.h"
#include "common/ident.h"
#include "common/text.h"

#define JOIN_HOST_SIZE 256
#define JOIN_PASSWORD_SIZE 64
#define JOIN_AUTHORITY_SIZE 2048

struct join_code {
    char node[IDENT_SIZE];
    char site[IDENT_SIZE];
    char host[JOIN_HOST_SIZE]; /* of the broker: a name or an address, without brackets */
    int port;
    char time_host[JOIN_HOST_SIZE];
    int time_port;
    char password[JOIN_PASSWORD_SIZE];   /* letters and digits */
    char authority[JOIN_AUTHORITY_SIZE]; /* one certificate, PEM */
};

/* "rw1,NODE,SITE,HOST,PORT,TIME-HOST,TIME-PORT,PASSWORD,BASE64,CRC-32C": nothing in it that a shell
 * would take for its own when put between single quotes. */
int join_code_write(const struct join_code *code, struct text *out, struct error *error);
int join_code_read(const char *text, struct join_code *code, struct error *error);

/* Sets "node", "site", "broker", "authority" and "time" of a node's config; leaves the rest. */
int join_code_configure(const struct join_code *code, cJSON *config, struct error *error);

#endif
