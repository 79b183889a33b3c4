/* The table of quantities, their names and their units.
 * Must never refuse an unknown quantity: it is QUANTITY_OTHER.
 * Called by channels, the site file's checks and the readers of foreign data. */
#include "common/units.h"

#include <stddef.h>
#include <string.h>

#define UNITS_EACH 2

/* Units: RFC 8428 (2018) sec. 12.1. The first is the default. */
static const struct {
    const char *name;
    const char *units[UNITS_EACH];
} quantities[QUANTITY_COUNT] = {
    [QUANTITY_MAGNETIC] = {"magnetic", {"T"}},
    [QUANTITY_ELECTRIC] = {"electric", {"V", "count"}},
    [QUANTITY_TEMPERATURE] = {"temperature", {"Cel"}},
    [QUANTITY_MOTION] = {"motion", {"/"}},
    [QUANTITY_VIBRATION] = {"vibration", {"m/s2"}},
    [QUANTITY_SOUND] = {"sound", {"dB"}},
    [QUANTITY_PRESSURE] = {"pressure", {"Pa"}},
    [QUANTITY_HUMIDITY] = {"humidity", {"%RH"}},
    [QUANTITY_BATTERY] = {"battery", {"V"}},
    [QUANTITY_CLOCK] = {"clock-uncertainty", {"s"}},
    [QUANTITY_OTHER] = {"other", {""}},
};

enum quantity quantity_from_name(const char *name)
{
    size_t length = strcspn(name, ".");
    for (int i = 0; i < QUANTITY_OTHER; i++) {
        const char *known = quantities[i].name;
        if (strlen(known) == length && memcmp(known, name, length) == 0) {
            return (enum quantity)i;
        }
    }
    return QUANTITY_OTHER;
}

static enum quantity known_or_other(enum quantity quantity)
{
    return (unsigned)quantity < QUANTITY_COUNT ? quantity : QUANTITY_OTHER;
}

const char *quantity_name(enum quantity quantity)
{
    return quantities[known_or_other(quantity)].name;
}

bool quantity_unit_valid(enum quantity quantity, const char *unit)
{
    enum quantity known = known_or_other(quantity);
    if (known == QUANTITY_OTHER) {
        return true;
    }
    for (size_t i = 0; i < UNITS_EACH; i++) {
        const char *allowed = quantities[known].units[i];
        if (allowed && strcmp(allowed, unit) == 0) {
            return true;
        }
    }
    return false;
}

const char *quantity_unit_default(enum quantity quantity)
{
    return quantities[known_or_other(quantity)].units[0];
}
