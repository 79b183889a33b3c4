/* The page's files as bytes, put into the program when it is built (embed.cmake).
 * Must never be read from a disk while a night is recorded. Used by server.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_ASSETS_H
#define ROOMWAKE_COLLECTOR_WEB_ASSETS_H

#include <stddef.h>

enum { WEB_ASSET_HTML, WEB_ASSET_CSS, WEB_ASSET_JS, WEB_ASSET_COUNT };

struct web_asset {
    const char *path;
    const char *type;
    const unsigned char *bytes;
    size_t length;
};

extern const struct web_asset web_assets[WEB_ASSET_COUNT];

#endif
