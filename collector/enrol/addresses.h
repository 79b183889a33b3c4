/* This machine's addresses, for certificates and for telling nodes where the base station is.
 * Must never guess between several. Used by enrol. */
#ifndef ROOMWAKE_COLLECTOR_ENROL_ADDRESSES_H
#define ROOMWAKE_COLLECTOR_ENROL_ADDRESSES_H

#include <stdbool.h>
#include <stddef.h>

#include "common/error.h"
#include "common/text.h"

/* Whether a numeric address is of this machine alone ("127.0.0.1", "::1"). A name is not. */
bool addresses_is_loopback(const char *host);
/* The one IPv4 address that others can reach this machine at; false where there is none, or
 * several. */
bool addresses_only_one(char *host, size_t size);
/* "IP:192.168.7.1,DNS:base": what a certificate for `host` names (OpenSSL's spelling of RFC 5280
 * sec. 4.2.1.6); all addresses and the machine's name where host is "0.0.0.0" or "::". */
int addresses_as_names(const char *host, struct text *names, struct error *error);

#endif
