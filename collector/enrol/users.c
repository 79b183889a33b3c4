/* The broker's password file and access list.
 * Must never store a password itself, only its hash. Called by enrol and record. */
#include "collector/enrol/users.h"

#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <openssl/rand.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* mosquitto_passwd(1): "$7$ITERATIONS$SALT$HASH", PBKDF2 (RFC 8018 sec. 5.2) with SHA-512. So few
 * rounds suffice, since what is hashed has 130 random bits. */
#define HASH_ITERATIONS 101
#define SALT_BYTES 12
#define HASH_BYTES 64
#define BASE64_SIZE(n) (((n) + 2) / 3 * 4 + 1)

int users_make_password(char password[USERS_PASSWORD_SIZE], struct error *error)
{
    static const char letters[33] = "abcdefghijkmnpqrstuvwxyz23456789";
    unsigned char bytes[USERS_PASSWORD_SIZE - 1];
    if (RAND_bytes(bytes, sizeof bytes) != 1) {
        return error_set(error, ERROR_IO, "no random numbers for a password");
    }
    for (size_t i = 0; i < sizeof bytes; i++) {
        password[i] = letters[bytes[i] % 32];
    }
    password[sizeof bytes] = '\0';
    OPENSSL_cleanse(bytes, sizeof bytes);
    return 0;
}

static int append_line(struct text *out, const char *user, const char *password)
{
    unsigned char salt[SALT_BYTES];
    unsigned char hash[HASH_BYTES];
    unsigned char salt_text[BASE64_SIZE(SALT_BYTES)];
    unsigned char hash_text[BASE64_SIZE(HASH_BYTES)];
    if (RAND_bytes(salt, sizeof salt) != 1 ||
        PKCS5_PBKDF2_HMAC(password, (int)strlen(password), salt, sizeof salt, HASH_ITERATIONS,
                          EVP_sha512(), sizeof hash, hash) != 1) {
        return -1;
    }
    (void)EVP_EncodeBlock(salt_text, salt, sizeof salt);
    (void)EVP_EncodeBlock(hash_text, hash, sizeof hash);
    return text_append_format(out, "%s:$7$%d$%s$%s\n", user, HASH_ITERATIONS, salt_text, hash_text);
}

static bool is_of(const char *line, const char *user)
{
    size_t length = strlen(user);
    return strncmp(line, user, length) == 0 && line[length] == ':';
}

/* All lines but the user's; whether there was one. */
static int copy_others(const struct text *from, const char *user, struct text *out, bool *found)
{
    *found = false;
    for (const char *line = from->bytes; line && *line;) {
        const char *end = strchr(line, '\n');
        size_t length = end ? (size_t)(end - line) + 1 : strlen(line);
        if (is_of(line, user)) {
            *found = true;
        } else if (text_append(out, line, length) != 0) {
            return -1;
        }
        line += length;
    }
    return 0;
}

static int read_file(const struct keys *keys, struct text *text, struct error *error)
{
    int result = keys_read(keys, KEYS_PASSWORDS, text, error);
    return result != 0 && error->code == ERROR_NOT_FOUND ? 0 : result;
}

int users_set(const struct keys *keys, const char *user, const char *password, bool *replaced,
              struct error *error)
{
    struct text old = {0};
    struct text text = {0};
    bool found = false;
    if (read_file(keys, &old, error) != 0) {
        return -1;
    }
    int result = 0;
    if (copy_others(&old, user, &text, &found) != 0 || append_line(&text, user, password) != 0) {
        result = error_set(error, ERROR_MEMORY, "passwords: out of memory");
    } else {
        result = keys_write(keys, KEYS_PASSWORDS, text.bytes, text.length, error);
    }
    if (replaced) {
        *replaced = found;
    }
    text_free(&old);
    text_free(&text);
    return result;
}

int users_load_base(const struct keys *keys, char password[USERS_PASSWORD_SIZE],
                    struct error *error)
{
    struct text text;
    if (keys_read(keys, KEYS_BASE, &text, error) == 0) {
        bool good = text.length == USERS_PASSWORD_SIZE - 1;
        if (good) {
            memcpy(password, text.bytes, text.length + 1);
        }
        OPENSSL_cleanse(text.bytes, text.length);
        text_free(&text);
        return good ? 0
                    : error_set(error, ERROR_FORMAT, "%s/" KEYS_BASE ": is no password of ours",
                                keys->folder);
    }
    if (error->code != ERROR_NOT_FOUND || users_make_password(password, error) != 0 ||
        users_set(keys, USERS_BASE, password, NULL, error) != 0) {
        return -1;
    }
    return keys_write(keys, KEYS_BASE, password, strlen(password), error);
}

int users_remove(const struct keys *keys, const char *user, struct error *error)
{
    struct text old = {0};
    struct text text = {0};
    bool found = false;
    if (read_file(keys, &old, error) != 0) {
        return -1;
    }
    int result = 0;
    if (copy_others(&old, user, &text, &found) != 0) {
        result = error_set(error, ERROR_MEMORY, "passwords: out of memory");
    } else if (!found) {
        result = error_set(error, ERROR_NOT_FOUND,
                           "%s: is not enrolled, so there is nothing to "
                           "revoke",
                           user);
    } else {
        result = keys_write(keys, KEYS_PASSWORDS, text.bytes, text.length, error);
    }
    text_free(&old);
    text_free(&text);
    return result;
}

size_t users_count_nodes(const char *passwords)
{
    size_t count = 0;
    for (const char *line = passwords; line && *line;) {
        size_t name = strcspn(line, ":\n");
        count += memchr(line, '.', name) == NULL && line[name] == ':';
        line = strchr(line, '\n');
        line += line ? 1 : 0;
    }
    return count;
}

static int append_readers(const char *site, const char *passwords, struct text *access)
{
    int result = 0;
    for (const char *line = passwords; line && *line && result == 0;) {
        if (strncmp(line, USERS_READER, strlen(USERS_READER)) == 0) {
            result = text_append_format(access, "\nuser %.*s\ntopic read roomwake/%s/alert\n",
                                        (int)strcspn(line, ":\n"), line, site);
        }
        line = strchr(line, '\n');
        line += line ? 1 : 0;
    }
    return result;
}

int users_access(const char *site, const char *passwords, struct text *access)
{
    static const char *const kinds[] = {"hello", "blocks", "state", "senml"};
    int result = text_append_format(access,
                                    "# Made by `roomwake enrol`: who may do what at the "
                                    "broker of site %s.\n",
                                    site);
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        result |= text_append_format(access, "pattern write roomwake/%s/%%u/%s\n", site, kinds[i]);
    }
    result |= text_append_format(access,
                                 "pattern read roomwake/%s/%%u/stored\n"
                                 "\nuser " USERS_BASE "\ntopic readwrite roomwake/%s/#\n",
                                 site, site);
    return result != 0 ? -1 : append_readers(site, passwords, access);
}
