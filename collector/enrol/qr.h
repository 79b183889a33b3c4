/* A text as a two-dimensional code (ISO/IEC 18004) on a terminal, for a telephone to read.
 * Must never be written to a file: what it shows is a password. Used by enrol. */
#ifndef ROOMWAKE_COLLECTOR_ENROL_QR_H
#define ROOMWAKE_COLLECTOR_ENROL_QR_H

#include <stdio.h>

#include "common/error.h"

/* Two rows of the code a line, dark on light whatever the terminal's colours are. */
int qr_print(const char *text, FILE *out, struct error *error);

#endif
