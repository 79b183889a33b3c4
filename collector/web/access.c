/* Pairing codes, tokens and the limit on guesses.
 * Must never compare a secret but in constant time. Called by server.c and routes.c. */
#include "collector/web/access.h"

#include <ctype.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#define CODE_LETTERS "abcdefghjkmnpqrstuvwxyz23456789"
#define CODE_LENGTH 8u
#define PAIRED_MAX 64u
#define ADDRESSES_MAX 64u
/* Guesses: an address may make some at once and then one every so often; so may all together. */
#define ADDRESS_GUESSES 5u
#define ADDRESS_MS 5000u
#define ALL_GUESSES 20u
#define ALL_MS 1000u

struct bucket {
    char address[WEB_ADDRESS_KEY_SIZE];
    unsigned left;
    uint64_t since_ms;
};

struct paired {
    char token[WEB_TOKEN_SIZE];
    enum web_right right;
};

struct web_access {
    bool all;
    char codes[WEB_RIGHT_MARK + 1][WEB_CODE_SIZE];
    struct paired paired[PAIRED_MAX];
    size_t next; /* the oldest */
    struct bucket everybody;
    struct bucket addresses[ADDRESSES_MAX];
};

static int fill_random(void *bytes, size_t length, struct error *error)
{
    if (getrandom(bytes, length, 0) != (ssize_t)length) {
        return error_set(error, ERROR_IO, "getrandom: %s", strerror(errno));
    }
    return 0;
}

static int draw_code(char code[WEB_CODE_SIZE], struct error *error)
{
    uint32_t random[CODE_LENGTH];
    if (fill_random(random, sizeof random, error) != 0) {
        return -1;
    }
    size_t used = 0;
    for (size_t i = 0; i < CODE_LENGTH; i++) {
        if (i == CODE_LENGTH / 2) {
            code[used++] = '-';
        }
        code[used++] = CODE_LETTERS[random[i] % (sizeof CODE_LETTERS - 1)];
    }
    code[used] = '\0';
    return 0;
}

int web_access_new(bool all, struct web_access **out, struct error *error)
{
    struct web_access *access = calloc(1, sizeof *access);
    if (!access) {
        return error_set(error, ERROR_MEMORY, "page: out of memory");
    }
    access->all = all;
    access->everybody.left = ALL_GUESSES;
    if (draw_code(access->codes[WEB_RIGHT_VIEW], error) != 0 ||
        draw_code(access->codes[WEB_RIGHT_MARK], error) != 0) {
        free(access);
        return -1;
    }
    *out = access;
    return 0;
}

void web_access_free(struct web_access *access)
{
    free(access);
}

const char *web_access_code(const struct web_access *access, enum web_right right)
{
    return access->codes[right];
}

/* Both are at least `length` bytes long. */
static bool same(const char *a, const char *b, size_t length)
{
    unsigned char differs = 0;
    for (size_t i = 0; i < length; i++) {
        differs = (unsigned char)(differs | (a[i] ^ b[i]));
    }
    return differs == 0;
}

enum web_right web_access_of(const struct web_access *access, const char *token)
{
    if (access->all) {
        return WEB_RIGHT_MARK;
    }
    enum web_right right = WEB_RIGHT_NONE;
    if (!token || strlen(token) != WEB_TOKEN_SIZE - 1) {
        return right;
    }
    for (size_t i = 0; i < PAIRED_MAX; i++) {
        if (same(token, access->paired[i].token, WEB_TOKEN_SIZE)) {
            right = access->paired[i].right;
        }
    }
    return right;
}

static bool spend(struct bucket *bucket, unsigned most, uint64_t every_ms, uint64_t now_ms)
{
    uint64_t gained = (now_ms - bucket->since_ms) / every_ms;
    bucket->since_ms += gained * every_ms;
    bucket->left = gained >= most - bucket->left ? most : bucket->left + (unsigned)gained;
    if (bucket->left == 0) {
        return false;
    }
    bucket->left--;
    return true;
}

/* The address' own, or the one that was used longest ago. */
static struct bucket *find_bucket(struct web_access *access, const char *address, uint64_t now_ms)
{
    struct bucket *oldest = &access->addresses[0];
    for (size_t i = 0; i < ADDRESSES_MAX; i++) {
        struct bucket *bucket = &access->addresses[i];
        if (strcmp(bucket->address, address) == 0) {
            return bucket;
        }
        oldest = bucket->since_ms < oldest->since_ms ? bucket : oldest;
    }
    (void)snprintf(oldest->address, sizeof oldest->address, "%s", address);
    oldest->left = ADDRESS_GUESSES;
    oldest->since_ms = now_ms;
    return oldest;
}

/* As it was shown, without what doesn't count; false: too long or short to be a code. */
static bool tidy(const char *code, char out[WEB_CODE_SIZE])
{
    size_t used = 0;
    for (; *code; code++) {
        if (*code == ' ' || *code == '-') {
            continue;
        }
        if (used == CODE_LENGTH + 1) {
            return false;
        }
        if (used == CODE_LENGTH / 2) {
            out[used++] = '-';
        }
        out[used++] = (char)tolower((unsigned char)*code);
    }
    out[used] = '\0';
    return used == CODE_LENGTH + 1;
}

static int add_paired(struct web_access *access, enum web_right right, char token[WEB_TOKEN_SIZE])
{
    struct error error;
    uint8_t random[(WEB_TOKEN_SIZE - 1) / 2];
    if (fill_random(random, sizeof random, &error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < sizeof random; i++) {
        (void)snprintf(token + 2 * i, 3, "%02x", random[i]);
    }
    struct paired *paired = &access->paired[access->next];
    memcpy(paired->token, token, WEB_TOKEN_SIZE);
    paired->right = right;
    access->next = (access->next + 1) % PAIRED_MAX;
    return 0;
}

enum web_pairing web_access_pair(struct web_access *access, const char *code, const char *address,
                                 uint64_t now_ms, char token[WEB_TOKEN_SIZE], enum web_right *right)
{
    char tidied[WEB_CODE_SIZE];
    if (!spend(find_bucket(access, address, now_ms), ADDRESS_GUESSES, ADDRESS_MS, now_ms) ||
        !spend(&access->everybody, ALL_GUESSES, ALL_MS, now_ms)) {
        return WEB_PAIR_WAIT;
    }
    if (!tidy(code, tidied)) {
        return WEB_PAIR_WRONG;
    }
    bool view = same(tidied, access->codes[WEB_RIGHT_VIEW], WEB_CODE_SIZE);
    bool mark = same(tidied, access->codes[WEB_RIGHT_MARK], WEB_CODE_SIZE);
    if (!view && !mark) {
        return WEB_PAIR_WRONG;
    }
    *right = mark ? WEB_RIGHT_MARK : WEB_RIGHT_VIEW;
    return add_paired(access, *right, token) == 0 ? WEB_PAIRED : WEB_PAIR_WAIT;
}
