/* The base station's signing key (Ed25519): made on first use, in a file that its owner alone may
 * read. Must never leave the machine by this program, nor be read where others could read it too.
 * Used by the seal's writers, record and verify. */
#ifndef ROOMWAKE_COLLECTOR_NIGHT_KEY_H
#define ROOMWAKE_COLLECTOR_NIGHT_KEY_H

#include <sodium.h>
#include <stddef.h>
#include <stdint.h>

#include "common/error.h"

#define KEY_PUBLIC_SIZE crypto_sign_PUBLICKEYBYTES
#define KEY_SIGNATURE_SIZE crypto_sign_BYTES
#define KEY_HEX_SIZE (2 * KEY_PUBLIC_SIZE + 1)

struct key {
    uint8_t public_key[KEY_PUBLIC_SIZE];
    uint8_t secret_key[crypto_sign_SECRETKEYBYTES];
};

/* From $ROOMWAKE_KEY, else ~/.local/share/roomwake/base.key; made where there is none. ERROR_STATE
 * where others could read it, ERROR_FORMAT where it is no key. */
int key_load(struct key *key, struct error *error);
/* As key_load, but ERROR_NOT_FOUND where there is none. */
int key_load_existing(struct key *key, struct error *error);
/* Wipes the secret. */
void key_forget(struct key *key);

void key_sign(const struct key *key, const void *message, size_t length,
              uint8_t signature[KEY_SIGNATURE_SIZE]);
/* 0 where the signature is the key's over the message. */
int key_verify(const uint8_t public_key[KEY_PUBLIC_SIZE], const void *message, size_t length,
               const uint8_t signature[KEY_SIGNATURE_SIZE]);

#endif
