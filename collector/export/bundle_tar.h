/* The head of a file in a tar archive (POSIX.1-1988 ustar).
 * Must never be included outside bundle*.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_BUNDLE_TAR_H
#define ROOMWAKE_COLLECTOR_EXPORT_BUNDLE_TAR_H

#include <stdint.h>

#define TAR_BLOCK 512 /* heads and contents are whole blocks; two of zeros end the archive */

/* Of PREFIX/NAME (cut to 40 and 58 bytes), with `size` bytes behind it. */
void bundle_tar_head(const char *prefix, const char *name, int64_t size, int64_t time_s,
                     char head[TAR_BLOCK]);

#endif
