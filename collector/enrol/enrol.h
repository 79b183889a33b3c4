/* Enrolment: a node of the site gets a password, a config and a line to carry them over; the broker
 * learns who may do what. Must never enrol a node that the site file doesn't name. Used by
 * cmd_enrol.c, and by record for the base station's own place at the broker. */
#ifndef ROOMWAKE_COLLECTOR_ENROL_ENROL_H
#define ROOMWAKE_COLLECTOR_ENROL_ENROL_H

#include <stdbool.h>

#include "common/error.h"
#include "common/join_code.h"
#include "common/site.h"
#include "common/text.h"

#define ENROL_PORT 8883 /* IANA: secure-mqtt */

struct enrol_request {
    const struct site *site;
    const char *node;
    const char *host; /* where the node finds the broker */
    int port;
    const char *time_host;
    int time_port;
};

struct enrol_result {
    struct join_code code;
    bool replaced; /* it had been enrolled before: what it was given then is void */
    char *folder;  /* the site's keys; enrol_result_free */
};

/* ERROR_NOT_FOUND where the site has no such node. */
int enrol_node(const struct enrol_request *request, struct enrol_result *result,
               struct error *error);
/* Somebody who may read the site's alerts and nothing else, as "reader.NAME". */
int enrol_reader(const struct enrol_request *request, struct enrol_result *result,
                 struct error *error);
void enrol_result_free(struct enrol_result *result);
int enrol_revoke(const struct site *site, const char *node, bool reader, struct error *error);

/* A whole config for the node: what the code tells, a spool beside the config, and `drivers` (JSON
 * array text, or NULL for none yet). */
int enrol_write_config(const struct join_code *code, const char *drivers, const char *path,
                       bool may_replace, struct error *error);

/* What a broker needs to serve a site: the texts of its files, and the base station's own login. */
struct enrol_broker {
    struct text certificate;
    struct text key;
    struct text passwords;
    struct text access;
    char password[JOIN_PASSWORD_SIZE]; /* of USERS_BASE */
    char *authority_path;
    char *folder;
    size_t node_count;
};

/* For a broker at `host`; the authority and the base station's login are made where they are not
 * there yet. */
int enrol_broker_load(const char *site, const char *host, struct enrol_broker *broker,
                      struct error *error);
/* Only who may log in and what they may do, read again; the rest of *broker stays empty. */
int enrol_broker_reload(const char *site, struct enrol_broker *broker, struct error *error);
void enrol_broker_free(struct enrol_broker *broker);

#endif
