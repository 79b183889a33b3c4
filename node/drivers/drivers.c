/* The table of drivers, and nothing else.
 * Must never hold logic: a driver is its own file and one line here. Called by node/config.c. */
#include "node/drivers/driver.h"

#include <string.h>

extern const struct driver_type driver_replay;
extern const struct driver_type driver_simulate;

const struct driver_type *const driver_types[] = {
    &driver_replay,
    &driver_simulate,
    NULL,
};

const struct driver_type *driver_find(const char *name)
{
    for (const struct driver_type *const *type = driver_types; *type; type++) {
        if (strcmp((*type)->name, name) == 0) {
            return *type;
        }
    }
    return NULL;
}
