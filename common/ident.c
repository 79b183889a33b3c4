/* Checks names by their allowed bytes and takes channel names apart.
 * Must never accept a byte outside [a-z0-9-] and the one dot of a channel.
 * Called wherever a name comes in from outside. */
#include "common/ident.h"

#include <string.h>

bool ident_valid(const char *text, size_t length)
{
    if (length == 0 || length >= IDENT_SIZE) {
        return false;
    }
    for (size_t i = 0; i < length; i++) {
        char c = text[i];
        if (!((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-')) {
            return false;
        }
    }
    return true;
}

bool channel_name_valid(const char *text, size_t length)
{
    if (length == 0 || length >= CHANNEL_NAME_SIZE) {
        return false;
    }
    const char *dot = memchr(text, '.', length);
    if (!dot) {
        return ident_valid(text, length);
    }
    size_t head = (size_t)(dot - text);
    return ident_valid(text, head) && ident_valid(dot + 1, length - head - 1);
}

static void copy_part(char out[IDENT_SIZE], const char *from, size_t length)
{
    size_t kept = length < IDENT_SIZE ? length : IDENT_SIZE - 1;
    memcpy(out, from, kept);
    out[kept] = '\0';
}

void channel_name_split(const char *name, char quantity[IDENT_SIZE], char axis[IDENT_SIZE])
{
    const char *dot = strchr(name, '.');
    size_t head = dot ? (size_t)(dot - name) : strlen(name);
    copy_part(quantity, name, head);
    copy_part(axis, dot ? dot + 1 : "", dot ? strlen(dot + 1) : 0);
}
