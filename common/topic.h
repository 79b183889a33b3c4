/* MQTT topics: make and take apart. roomwake/SITE/NODE/KIND, roomwake/SITE/alert, .../mark,
 * .../question, .../baseline, .../said. Must never let an id with a wildcard or a slash through. */
#ifndef ROOMWAKE_COMMON_TOPIC_H
#define ROOMWAKE_COMMON_TOPIC_H

#include "common/error.h"
#include "common/ident.h"

#define TOPIC_SIZE 128

enum topic_kind {
    TOPIC_HELLO,
    TOPIC_BLOCKS,
    TOPIC_STATE,
    TOPIC_STORED,
    TOPIC_SENML,
    TOPIC_ALERT,    /* of the site, no node */
    TOPIC_MARK,     /* of the site, no node */
    TOPIC_QUESTION, /* of the site, no node */
    TOPIC_SAID,     /* of the site, no node: the base station's answer to a mark or a baseline */
    TOPIC_BASELINE, /* of the site, no node */
};

struct topic {
    enum topic_kind kind;
    char site[IDENT_SIZE];
    char node[IDENT_SIZE]; /* "" for the site's own */
};

int topic_parse(const char *text, struct topic *topic, struct error *error);
/* `node` is not looked at for the site's own. A name that is not valid gives "": nothing can be
 * published or subscribed there. */
void topic_format(enum topic_kind kind, const char *site, const char *node, char text[TOPIC_SIZE]);
/* The filter of all nodes' messages of a kind: "roomwake/SITE/+/blocks"; "roomwake/SITE/mark". */
void topic_format_filter(enum topic_kind kind, const char *site, char text[TOPIC_SIZE]);

#endif
