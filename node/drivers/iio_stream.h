/* Records from a buffer's character device, on a thread of its own.
 * Must never let the loop wait, nor drop a record without saying so. Used by iio_buffer.c alone. */
#ifndef ROOMWAKE_NODE_DRIVERS_IIO_STREAM_H
#define ROOMWAKE_NODE_DRIVERS_IIO_STREAM_H

#include "node/drivers/iio_scan.h"

struct iio_stream;

/* Takes over `file`, opened so that it does not block. NULL: no memory or no thread; the file is
 * closed then too. */
struct iio_stream *iio_stream_start(int file, size_t record_size);
/* 1: the oldest record that was not taken yet; 0: none; -1: no more will come, and why. */
int iio_stream_take(struct iio_stream *stream, uint8_t record[IIO_RECORD_MOST],
                    struct error *error);
/* Returns at once. */
void iio_stream_stop(struct iio_stream *stream);

#endif
