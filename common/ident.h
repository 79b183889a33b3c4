/* Names of nodes, rooms, sites and channels, and the bounds on them.
 * Must never accept a byte that could mean something in a topic, a path or a page. */
#ifndef ROOMWAKE_COMMON_IDENT_H
#define ROOMWAKE_COMMON_IDENT_H

#include <stdbool.h>
#include <stddef.h>

#define IDENT_SIZE 33        /* [a-z0-9-]{1,32} and the terminator */
#define CHANNEL_NAME_SIZE 48 /* quantity or quantity.axis, each an ident */

bool ident_valid(const char *text, size_t length);
bool channel_name_valid(const char *text, size_t length);

/* "magnetic.x" -> "magnetic", "x"; "motion" -> "motion", "". Name must be valid. */
void channel_name_split(const char *name, char quantity[IDENT_SIZE], char axis[IDENT_SIZE]);

#endif
