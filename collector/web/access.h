/* Who may look and who may mark: codes shown at the base station, tokens in cookies, and a limit on
 * guesses. Must never give a right for a code that is nearly right, nor tell how near it was.
 * Used by server.c and routes.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_ACCESS_H
#define ROOMWAKE_COLLECTOR_WEB_ACCESS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

enum web_right { WEB_RIGHT_NONE, WEB_RIGHT_VIEW, WEB_RIGHT_MARK };

#define WEB_CODE_SIZE 10  /* "k7mf-2wxa": 31^8 of them */
#define WEB_TOKEN_SIZE 33 /* 128 random bits as hex */
#define WEB_ADDRESS_KEY_SIZE 48

struct web_access;

/* `all`: whoever reaches the page may do everything (it listens on this machine alone). */
int web_access_new(bool all, struct web_access **access, struct error *error);
void web_access_free(struct web_access *access);

/* The code for a right, to be shown at the base station. */
const char *web_access_code(const struct web_access *access, enum web_right right);
/* What the holder of a token may do; NULL: of none. */
enum web_right web_access_of(const struct web_access *access, const char *token);

enum web_pairing { WEB_PAIRED, WEB_PAIR_WRONG, WEB_PAIR_WAIT };
/* A guess from an address. Space, dashes and case don't count. WAIT: too many guesses, of this
 * address or of all; the code was not looked at. PAIRED fills token and right; the oldest pairing
 * goes where there are too many. */
enum web_pairing web_access_pair(struct web_access *access, const char *code, const char *address,
                                 uint64_t now_ms, char token[WEB_TOKEN_SIZE],
                                 enum web_right *right);

#endif
