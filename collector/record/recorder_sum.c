/* libsodium over the file's bytes.
 * Must never hold more than a piece. Called by recorder.c. */
#include "collector/record/recorder_sum.h"

#include <errno.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define PIECE ((size_t)1 << 18)
#define BOOT_DIGITS 16

int recorder_sum(const char *path, const volatile sig_atomic_t *stop, char hex[65],
                 struct error *error)
{
    unsigned char sum[crypto_hash_sha256_BYTES];
    crypto_hash_sha256_state state;
    unsigned char *piece = malloc(PIECE);
    FILE *file = piece ? fopen(path, "rb") : NULL;
    if (!file) {
        int reason = errno;
        free(piece);
        return error_set(error, piece ? ERROR_IO : ERROR_MEMORY, "%s: %s", path, strerror(reason));
    }
    size_t got = 0;
    (void)crypto_hash_sha256_init(&state);
    while (!(stop && *stop) && (got = fread(piece, 1, PIECE, file)) > 0) {
        (void)crypto_hash_sha256_update(&state, piece, got);
    }
    int result = 0;
    if (stop && *stop) {
        result = error_set(error, ERROR_STATE, "stopped; nothing was made");
    } else if (ferror(file)) {
        result = error_set(error, ERROR_IO, "%s: %s", path, strerror(errno));
    }
    (void)crypto_hash_sha256_final(&state, sum);
    (void)sodium_bin2hex(hex, 65, sum, sizeof sum);
    (void)fclose(file);
    free(piece);
    return result;
}

uint64_t recorder_boot(const char hex[65])
{
    char digits[BOOT_DIGITS + 1];
    (void)snprintf(digits, sizeof digits, "%.16s", hex);
    uint64_t boot = strtoull(digits, NULL, 16);
    return boot != 0 ? boot : 1;
}
