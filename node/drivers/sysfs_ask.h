/* One small file of the kernel's, read once, within a deadline: what describes a sensor is asked
 * for on the loop. Must never hold up the loop for longer, whatever the sensor does. Used by
 * iio_files.c. */
#ifndef ROOMWAKE_NODE_DRIVERS_SYSFS_ASK_H
#define ROOMWAKE_NODE_DRIVERS_SYSFS_ASK_H

#include <stddef.h>

#include "common/decimal.h"
#include "common/error.h"

/* How long such a read may take. The kernel answers from memory in microseconds, but a node that
 * starts on a busy machine has time. */
#define SYSFS_ASK_FIRST_MS 5000
#define SYSFS_ASK_AGAIN_MS 200

/* The file's text without the line's end. ERROR_NOT_FOUND where it is not there. */
int sysfs_ask_text(const char *path, int most_ms, char *text, size_t size, struct error *error);
int sysfs_ask_decimal(const char *path, int most_ms, struct decimal *value, struct error *error);
/* Writes a setting; the same deadline. */
int sysfs_ask_write(const char *path, int most_ms, const char *text, struct error *error);

#endif
