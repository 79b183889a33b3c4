/* The base station's signing key, made on first use.
 * Must never be written where it could be half a key, nor readable by others for a moment.
 * Called by the seal's writers, record and verify. */
#include "collector/night/key.h"

#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define SEED_HEX_SIZE (2 * crypto_sign_SEEDBYTES + 1)
#define IN_HOME "/.local/share/roomwake/base.key"

static int key_path(char **path, struct error *error)
{
    const char *given = getenv("ROOMWAKE_KEY");
    const char *home = getenv("HOME");
    int made = -1;
    *path = NULL;
    if (given && *given != '\0') {
        made = asprintf(path, "%s", given);
    } else if (home && *home != '\0') {
        made = asprintf(path, "%s" IN_HOME, home);
    } else {
        return error_set(
            error, ERROR_NOT_FOUND,
            "no place for the base station's key: neither ROOMWAKE_KEY nor HOME is set");
    }
    return made >= 0 ? 0 : error_set(error, ERROR_MEMORY, "key: out of memory");
}

static int fail(const char *path, struct error *error)
{
    enum error_code code = errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO;
    return error_set(error, code, "%s: %s", path, strerror(errno));
}

/* The folders on the way to the key, for their owner alone. */
static int make_folders(char *path, struct error *error)
{
    for (char *slash = strchr(path + 1, '/'); slash; slash = strchr(slash + 1, '/')) {
        *slash = '\0';
        int failed = mkdir(path, 0700) != 0 && errno != EEXIST ? fail(path, error) : 0;
        *slash = '/';
        if (failed != 0) {
            return -1;
        }
    }
    return 0;
}

static int write_seed(int descriptor, const char *path, struct error *error)
{
    uint8_t seed[crypto_sign_SEEDBYTES];
    char hex[SEED_HEX_SIZE];
    randombytes_buf(seed, sizeof seed);
    (void)sodium_bin2hex(hex, sizeof hex, seed, sizeof seed);
    hex[sizeof hex - 1] = '\n';
    int result = 0;
    if (write(descriptor, hex, sizeof hex) != (ssize_t)sizeof hex || fsync(descriptor) != 0) {
        result = fail(path, error);
    }
    sodium_memzero(seed, sizeof seed);
    sodium_memzero(hex, sizeof hex);
    return result;
}

/* Written aside and linked into place whole: who comes second finds the first one's key. */
static int make_key(char *path, struct error *error)
{
    char *aside = NULL;
    if (make_folders(path, error) != 0) {
        return -1;
    }
    if (asprintf(&aside, "%s.XXXXXX", path) < 0) {
        return error_set(error, ERROR_MEMORY, "key: out of memory");
    }
    int descriptor = mkstemp(aside); /* mode 0600 */
    int result = descriptor < 0 ? fail(path, error) : write_seed(descriptor, path, error);
    if (result == 0 && link(aside, path) != 0 && errno != EEXIST) {
        result = fail(path, error);
    }
    if (descriptor >= 0) {
        close(descriptor);
        (void)unlink(aside);
    }
    free(aside);
    return result;
}

static int check_file(int descriptor, const char *path, struct error *error)
{
    struct stat file;
    if (fstat(descriptor, &file) != 0) {
        return fail(path, error);
    }
    if (!S_ISREG(file.st_mode)) {
        return error_set(error, ERROR_FORMAT, "%s: is no file", path);
    }
    if ((file.st_mode & 077) != 0) {
        return error_set(error, ERROR_STATE,
                         "%s: others may read the base station's key: chmod 600 it, or move it away"
                         " and a new one is made",
                         path);
    }
    return 0;
}

static int read_key(const char *path, struct key *key, struct error *error)
{
    int descriptor = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
    if (descriptor < 0) {
        return fail(path, error);
    }
    char hex[SEED_HEX_SIZE + 1] = "";
    uint8_t seed[crypto_sign_SEEDBYTES];
    size_t length = 0;
    int result = check_file(descriptor, path, error);
    ssize_t got = result == 0 ? read(descriptor, hex, sizeof hex) : 0;
    close(descriptor);
    if (result == 0 &&
        (got != SEED_HEX_SIZE || hex[SEED_HEX_SIZE - 1] != '\n' ||
         sodium_hex2bin(seed, sizeof seed, hex, SEED_HEX_SIZE - 1, NULL, &length, NULL) != 0 ||
         length != sizeof seed)) {
        result = error_set(error, ERROR_FORMAT, "%s: is no key: 64 hex digits and a newline", path);
    }
    if (result == 0) {
        (void)crypto_sign_seed_keypair(key->public_key, key->secret_key, seed);
    }
    sodium_memzero(seed, sizeof seed);
    sodium_memzero(hex, sizeof hex);
    return result;
}

static int load(struct key *key, bool may_make, struct error *error)
{
    char *path = NULL;
    if (sodium_init() < 0) {
        return error_set(error, ERROR_STATE, "libsodium can't start");
    }
    if (key_path(&path, error) != 0) {
        return -1;
    }
    int result = read_key(path, key, error);
    if (result != 0 && may_make && error->code == ERROR_NOT_FOUND) {
        result = make_key(path, error) != 0 ? -1 : read_key(path, key, error);
    }
    free(path);
    return result;
}

int key_load(struct key *key, struct error *error)
{
    return load(key, true, error);
}

int key_load_existing(struct key *key, struct error *error)
{
    return load(key, false, error);
}

void key_forget(struct key *key)
{
    sodium_memzero(key, sizeof *key);
}

void key_sign(const struct key *key, const void *message, size_t length,
              uint8_t signature[KEY_SIGNATURE_SIZE])
{
    (void)crypto_sign_detached(signature, NULL, message, length, key->secret_key);
}

int key_verify(const uint8_t public_key[KEY_PUBLIC_SIZE], const void *message, size_t length,
               const uint8_t signature[KEY_SIGNATURE_SIZE])
{
    return crypto_sign_verify_detached(signature, message, length, public_key);
}
