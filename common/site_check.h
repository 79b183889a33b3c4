/* What must hold between the fields of a site: ids unique, nodes inside their rooms, doors between
 * rooms that touch, channels named and in their units. Must never change the site. */
#ifndef ROOMWAKE_COMMON_SITE_CHECK_H
#define ROOMWAKE_COMMON_SITE_CHECK_H

#include "common/site.h"

/* 0, or -1 with the first fault named by its path ("nodes[2].position_m: outside room \"hall\"").
 */
int site_check(const struct site *site, struct error *error);

#endif
