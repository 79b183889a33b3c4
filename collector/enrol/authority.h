/* A site's own small authority: an elliptic-curve key that certifies its broker and nothing else.
 * Must never certify a node (nodes have passwords), nor hand out its key. Used by enrol and record.
 *
 * Certificates follow RFC 5280 (2008). They begin in 1970 and don't end (sec. 4.1.2.5's
 * 99991231235959Z): a node without a battery for its clock must be able to connect before it knows
 * what day it is, and what is given up by that, an end, is not what stands against a stolen key. */
#ifndef ROOMWAKE_COLLECTOR_ENROL_AUTHORITY_H
#define ROOMWAKE_COLLECTOR_ENROL_AUTHORITY_H

#include "collector/enrol/keys.h"
#include "common/error.h"
#include "common/text.h"

struct authority;

/* The site's authority; made where there is none yet. */
int authority_load(const struct keys *keys, const char *site, struct authority **authority,
                   struct error *error);
void authority_free(struct authority *authority);

/* Its own certificate, as PEM. */
const char *authority_pem(const struct authority *authority);

/* A new key and a certificate for a broker that is reached at `host`, a numeric address or a name.
 * Where the address stands for all of this machine ("0.0.0.0", "::"), for all its addresses. The
 * certificate's PEM is followed by the authority's. The caller frees both texts. */
int authority_certify(const struct authority *authority, const char *site, const char *host,
                      struct text *certificate, struct text *key, struct error *error);

#endif
