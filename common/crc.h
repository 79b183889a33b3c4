/* CRC-32C (Castagnoli, as in RFC 3720 sec. 12.1, 2004): does a message or a record hold what was
 * written? Must never stand in for a seal: it guards against accidents, not against people.
 * Used by the blocks message and the spool. */
#ifndef ROOMWAKE_COMMON_CRC_H
#define ROOMWAKE_COMMON_CRC_H

#include <stddef.h>
#include <stdint.h>

/* Start with 0; feed what it returned to go on with the next bytes. */
uint32_t crc32c_update(uint32_t crc, const void *bytes, size_t length);

#endif
