/* What a broker needs to serve a site, from the site's keys.
 * Must never be kept longer than the broker needs it. Called by record. */
#include <openssl/crypto.h>
#include <stdlib.h>
#include <string.h>

#include "collector/enrol/authority.h"
#include "collector/enrol/enrol.h"
#include "collector/enrol/keys.h"
#include "collector/enrol/users.h"

static int read_users(const struct keys *keys, const char *site, struct enrol_broker *broker,
                      struct error *error)
{
    if (keys_read(keys, KEYS_PASSWORDS, &broker->passwords, error) != 0) {
        return -1;
    }
    broker->node_count = users_count_nodes(broker->passwords.bytes);
    return users_access(site, broker->passwords.bytes, &broker->access) == 0
               ? 0
               : error_set(error, ERROR_MEMORY, "access list: out of memory");
}

static int load(const struct keys *keys, const char *site, const char *host,
                struct enrol_broker *broker, struct error *error)
{
    struct authority *authority = NULL;
    if (authority_load(keys, site, &authority, error) != 0) {
        return -1;
    }
    int result =
        authority_certify(authority, site, host, &broker->certificate, &broker->key, error);
    authority_free(authority);
    if (result != 0 || users_load_base(keys, broker->password, error) != 0 ||
        read_users(keys, site, broker, error) != 0) {
        return -1;
    }
    broker->authority_path = keys_path(keys, KEYS_AUTHORITY);
    broker->folder = strdup(keys->folder);
    return broker->authority_path && broker->folder
               ? 0
               : error_set(error, ERROR_MEMORY, "keys: out of memory");
}

int enrol_broker_load(const char *site, const char *host, struct enrol_broker *broker,
                      struct error *error)
{
    struct keys keys;
    memset(broker, 0, sizeof *broker);
    if (keys_open(&keys, site, error) != 0) {
        return -1;
    }
    int result = load(&keys, site, host, broker, error);
    keys_close(&keys);
    if (result != 0) {
        enrol_broker_free(broker);
    }
    return result;
}

int enrol_broker_reload(const char *site, struct enrol_broker *broker, struct error *error)
{
    struct keys keys;
    memset(broker, 0, sizeof *broker);
    if (keys_open(&keys, site, error) != 0) {
        return -1;
    }
    int result = read_users(&keys, site, broker, error);
    keys_close(&keys);
    if (result != 0) {
        enrol_broker_free(broker);
    }
    return result;
}

void enrol_broker_free(struct enrol_broker *broker)
{
    if (broker->key.bytes) {
        OPENSSL_cleanse(broker->key.bytes, broker->key.length);
    }
    OPENSSL_cleanse(broker->password, sizeof broker->password);
    text_free(&broker->certificate);
    text_free(&broker->key);
    text_free(&broker->passwords);
    text_free(&broker->access);
    free(broker->authority_path);
    free(broker->folder);
    broker->authority_path = NULL;
    broker->folder = NULL;
}
