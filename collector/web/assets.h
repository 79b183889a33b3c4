/* The page's files as bytes, as they are and compressed, put into the program when it is built
 * (embed.cmake). Must never be read from a disk while a night is recorded. Used by routes.c. */
#ifndef ROOMWAKE_COLLECTOR_WEB_ASSETS_H
#define ROOMWAKE_COLLECTOR_WEB_ASSETS_H

#include <stddef.h>

enum {
    WEB_ASSET_HTML,
    WEB_ASSET_CSS,
    WEB_ASSET_FIRST,
    WEB_ASSET_JS,
    WEB_ASSET_WORKER,
    WEB_ASSET_PLOT,
    WEB_ASSET_COUNT
};

struct web_asset {
    const char *path;
    const char *type;
    const char *tag; /* of the content, for the browser's cache */
    const unsigned char *bytes;
    size_t length;
    const unsigned char *packed; /* gzip */
    size_t packed_length;
};

extern const struct web_asset web_assets[WEB_ASSET_COUNT];

#endif
