/* The table of drivers, and nothing else.
 * Must never hold logic: a driver is its own file and one line here. Called by node/config.c. */
#include "node/drivers/driver.h"

#include <string.h>

#ifdef ROOMWAKE_GPIOD
extern const struct driver_type driver_gpio;
#endif
extern const struct driver_type driver_hwmon;
extern const struct driver_type driver_iio;
extern const struct driver_type driver_iio_buffer;
extern const struct driver_type driver_onewire;
extern const struct driver_type driver_replay;
extern const struct driver_type driver_serial;
extern const struct driver_type driver_simulate;

const struct driver_type *const driver_types[] = {
#ifdef ROOMWAKE_GPIOD
    &driver_gpio,
#endif
    &driver_hwmon,  &driver_iio,    &driver_iio_buffer, &driver_onewire,
    &driver_replay, &driver_serial, &driver_simulate,   NULL,
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
