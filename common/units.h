/* The quantities that Roomwake knows and the unit each must carry (RFC 8428 sec. 12.1 and the IANA
 * SenML units registry). Must never refuse an unknown quantity: it is stored as a plain level. */
#ifndef ROOMWAKE_COMMON_UNITS_H
#define ROOMWAKE_COMMON_UNITS_H

#include <stdbool.h>

#define UNIT_SIZE 16

enum quantity {
    QUANTITY_MAGNETIC,    /* T, axes x y z */
    QUANTITY_ELECTRIC,    /* V, or count for a bare antenna on a converter */
    QUANTITY_TEMPERATURE, /* Cel */
    QUANTITY_MOTION,      /* "/", 0 or 1 */
    QUANTITY_VIBRATION,   /* m/s2, axes x y z */
    QUANTITY_SOUND,       /* dB */
    QUANTITY_PRESSURE,    /* Pa */
    QUANTITY_HUMIDITY,    /* %RH */
    QUANTITY_BATTERY,     /* V */
    QUANTITY_CLOCK,       /* "clock-uncertainty", s: a node's own 1-sigma, carried by exports */
    QUANTITY_OTHER,       /* anything else: a plain level */
    QUANTITY_COUNT
};

/* From a quantity's or a channel's name ("magnetic" or "magnetic.x"). */
enum quantity quantity_from_name(const char *name);
/* "magnetic" ...; "other" for QUANTITY_OTHER. Never NULL. */
const char *quantity_name(enum quantity quantity);
/* Whether `unit` is one that this quantity may carry; always true for QUANTITY_OTHER. */
bool quantity_unit_valid(enum quantity quantity, const char *unit);
/* The unit to write where none is told; "" for QUANTITY_OTHER. */
const char *quantity_unit_default(enum quantity quantity);

#endif
