/* How one record of an industrial I/O buffer is laid out, and taking it apart
 * (Documentation/ABI/testing/sysfs-bus-iio, scan_elements).
 * Must never believe a layout that does not fit its record. Used by iio_buffer.c alone. */
#ifndef ROOMWAKE_NODE_DRIVERS_IIO_SCAN_H
#define ROOMWAKE_NODE_DRIVERS_IIO_SCAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

#define IIO_SCAN_PARTS 4 /* three axes and the time */
#define IIO_RECORD_MOST (IIO_SCAN_PARTS * 8)

struct iio_scan_part {
    bool big_endian;
    bool is_signed;
    unsigned bits;
    unsigned bytes; /* of its place */
    unsigned shift;
    unsigned index;
    size_t at; /* in the record */
};

struct iio_scan {
    struct iio_scan_part parts[IIO_SCAN_PARTS];
    size_t count;
    size_t size; /* of a record */
};

/* "le:s12/16>>4". */
int iio_scan_parse(const char *text, struct iio_scan_part *part, struct error *error);
/* From the parts' indices and sizes: each lies at a multiple of its size, the record's size is a
 * multiple of the largest. */
void iio_scan_lay_out(struct iio_scan *scan);
int64_t iio_scan_value(const struct iio_scan_part *part, const uint8_t *record);

#endif
