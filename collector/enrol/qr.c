/* A code on the terminal, by libqrencode.
 * Must never depend on the terminal's own colours. Called by enrol.c. */
#include "collector/enrol/qr.h"

#include <errno.h>
#include <qrencode.h>
#include <stdbool.h>
#include <string.h>

#define QUIET 2 /* modules of light around it; readers of today need no more */
#define DARK_ON_LIGHT "\033[38;5;16;48;5;231m"
#define PLAIN "\033[0m"

static bool is_dark(const QRcode *code, int x, int y)
{
    bool inside = x >= 0 && y >= 0 && x < code->width && y < code->width;
    return inside && (code->data[y * code->width + x] & 1);
}

int qr_print(const char *text, FILE *out, struct error *error)
{
    static const char *const halves[] = {" ", "\u2584", "\u2580", "\u2588"};
    QRcode *code = QRcode_encodeString8bit(text, 0, QR_ECLEVEL_L);
    if (!code) {
        return error_set(error, errno == ERANGE ? ERROR_RANGE : ERROR_MEMORY, "code: %s",
                         strerror(errno));
    }
    for (int y = -QUIET; y < code->width + QUIET; y += 2) {
        fputs(DARK_ON_LIGHT, out);
        for (int x = -QUIET; x < code->width + QUIET; x++) {
            fputs(halves[2 * is_dark(code, x, y) + is_dark(code, x, y + 1)], out);
        }
        fputs(PLAIN "\n", out);
    }
    QRcode_free(code);
    return 0;
}
