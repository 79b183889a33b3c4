/* A serial line as a file that never waits. Must never leave the line's settings to chance.
 * Used by serial.c alone. */
#ifndef ROOMWAKE_NODE_DRIVERS_SERIAL_PORT_H
#define ROOMWAKE_NODE_DRIVERS_SERIAL_PORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

/* Whether a line can have this speed. */
bool serial_port_has_baud(int baud);
/* Raw, 8 bits, no parity, for this program alone; what waits there from before is thrown away.
 * Returns the file, or -1. */
int serial_port_open(const char *path, int baud, struct error *error);
/* Bytes read, 0 where there are none now, -1 where the line is gone. */
long serial_port_read(int file, uint8_t *bytes, size_t size, struct error *error);
/* Writes what the line takes; a command that does not fit is asked for again by its sender. */
void serial_port_write(int file, const uint8_t *bytes, size_t length);
void serial_port_close(int file);

#endif
