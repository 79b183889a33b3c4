/* Heads of files in a tar archive, field by field (POSIX.1-1988, section 10.1.1).
 * Must never write a file. Called by bundle_store.c. */
#include "collector/export/bundle_tar.h"

#include <stdio.h>
#include <string.h>

#define TAR_OCTAL_MAX INT64_C(077777777777)

static void put_octal(char *field, int digits, uint64_t value)
{
    while (digits-- > 0) {
        field[digits] = (char)('0' + (value & 7));
        value >>= 3;
    }
}

/* Eleven octal digits; what is larger in base 256, as GNU tar and others read it. */
static void put_size(char field[12], int64_t size)
{
    if (size <= TAR_OCTAL_MAX) {
        put_octal(field, 11, (uint64_t)size);
        return;
    }
    for (int i = 0; i < 12; i++) {
        field[11 - i] = (char)(i < 8 ? (size >> (8 * i)) & 0xff : 0);
    }
    field[0] = (char)0x80;
}

void bundle_tar_head(const char *prefix, const char *name, int64_t size, int64_t time_s,
                     char head[TAR_BLOCK])
{
    unsigned sum = 0;
    memset(head, 0, TAR_BLOCK);
    (void)snprintf(head, 100, "%.40s/%.58s", prefix, name);
    memcpy(head + 100, "0000644", 8);
    memcpy(head + 108, "0000000", 8);
    memcpy(head + 116, "0000000", 8);
    put_size(head + 124, size);
    put_octal(head + 136, 11, time_s > 0 ? (uint64_t)time_s : 0);
    memset(head + 148, ' ', 8);
    head[156] = '0';
    memcpy(head + 257, "ustar", 6);
    memcpy(head + 263, "00", 2);
    for (int i = 0; i < TAR_BLOCK; i++) {
        sum += (unsigned char)head[i];
    }
    put_octal(head + 148, 6, sum);
    head[154] = '\0';
}
