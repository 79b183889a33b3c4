/* The night's seal, said aloud: the key at the start, roots as they come, the last at the end.
 * Must never be more than words: the writer seals. Called by session.c and session_build.c. */
#include "collector/record/session_parts.h"

#include <sodium.h>
#include <stdio.h>
#include <string.h>

#include "collector/night/key.h"
#include "collector/night/reader.h"
#include "collector/night/seal.h"

#define LINE_SIZE 256

int session_say_key(struct session *session, struct error *error)
{
    struct key key;
    char hex[KEY_HEX_SIZE];
    char line[LINE_SIZE];
    if (key_load(&key, error) != 0) {
        return -1;
    }
    (void)sodium_bin2hex(hex, sizeof hex, key.public_key, sizeof key.public_key);
    key_forget(&key);
    (void)snprintf(line, sizeof line, "with this base station's key %s", hex);
    station_say(session->station, "sealing", line);
    return 0;
}

void session_say_seal(struct session *session)
{
    struct night_writer_seal seal;
    if (!session->writer || !night_writer_last_seal(session->writer, &seal) ||
        seal.number == session->seal_told) {
        return;
    }
    char aloud[SEAL_ALOUD_SIZE];
    session->seal_told = seal.number;
    seal_aloud(seal.root, aloud);
    station_say(session->station, "sealed", aloud);
}

int session_read_root(const struct session *session, uint8_t root[32], struct error *error)
{
    struct night_reader *reader = NULL;
    char hex[65];
    if (night_reader_open(session->settings->night_path, &reader, error) != 0) {
        return -1;
    }
    int result = night_read_root(reader, hex, error);
    night_reader_close(reader);
    if (result != 0) {
        return -1;
    }
    return sodium_hex2bin(root, 32, hex, strlen(hex), NULL, NULL, NULL) == 0 && hex[0] != '\0'
               ? 0
               : error_set(error, ERROR_FORMAT, "%s: has no seal", session->settings->night_path);
}
