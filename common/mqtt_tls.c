/* What a TLS connection to the broker must show: TLS 1.2 or newer, a certificate for the host that
 * was asked for, from an authority that is believed. Must never connect where that can't be shown.
 * Called by mqtt_uv.c and, through OpenSSL, during a handshake. */
#include <arpa/inet.h>
#include <openssl/err.h>
#include <openssl/x509v3.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>

#include "common/mqtt_client.h"

/* Why a certificate was refused, in words that name the usual remedy. */
static int on_verify(int good, X509_STORE_CTX *store)
{
    SSL *ssl = X509_STORE_CTX_get_ex_data(store, SSL_get_ex_data_X509_STORE_CTX_idx());
    struct mqtt_uv *client = SSL_CTX_get_app_data(SSL_get_SSL_CTX(ssl));
    if (good) {
        return 1;
    }
    int code = X509_STORE_CTX_get_error(store);
    char text[160];
    if (code == X509_V_ERR_CERT_NOT_YET_VALID || code == X509_V_ERR_CERT_HAS_EXPIRED) {
        time_t now = time(NULL);
        struct tm parts;
        char date[32] = "?";
        if (gmtime_r(&now, &parts)) {
            (void)strftime(date, sizeof date, "%Y-%m-%d", &parts);
        }
        (void)snprintf(text, sizeof text, "%s (this machine's clock says %s)",
                       X509_verify_cert_error_string(code), date);
    } else {
        (void)snprintf(text, sizeof text, "%s", X509_verify_cert_error_string(code));
    }
    mqtt_client_say_why(client, "the broker's certificate is refused", text);
    return 0;
}

static void on_info(const SSL *ssl, int where, int value)
{
    (void)value;
    if (where & SSL_CB_HANDSHAKE_DONE) {
        struct mqtt_uv *client = SSL_CTX_get_app_data(SSL_get_SSL_CTX(ssl));
        client->handshaken = true;
    }
}

static int fail(const char *what, const char *where, struct error *error)
{
    char detail[128] = "";
    unsigned long code = ERR_get_error();
    if (code != 0) {
        ERR_error_string_n(code, detail, sizeof detail);
    }
    ERR_clear_error();
    return error_set(error, ERROR_USAGE, "broker: %s%s%s%s%s", what, where ? " " : "",
                     where ? where : "", detail[0] ? ": " : "", detail);
}

/* Every certificate of the PEM text is believed. */
static int believe_text(SSL_CTX *tls, const char *pem, struct error *error)
{
    BIO *bio = BIO_new_mem_buf(pem, -1);
    X509_STORE *store = SSL_CTX_get_cert_store(tls);
    int count = 0;
    X509 *one = NULL;
    while (bio && (one = PEM_read_bio_X509(bio, NULL, NULL, NULL)) != NULL) {
        count += X509_STORE_add_cert(store, one);
        X509_free(one);
    }
    BIO_free(bio);
    ERR_clear_error();
    return count > 0 ? 0 : fail("authority: holds no certificate (PEM)", NULL, error);
}

static int believe(SSL_CTX *tls, const struct mqtt_config *config, struct error *error)
{
    if (config->authority) {
        return believe_text(tls, config->authority, error);
    }
    if (config->authority_path) {
        return SSL_CTX_load_verify_file(tls, config->authority_path) == 1
                   ? 0
                   : fail("no authority's certificate in", config->authority_path, error);
    }
    return SSL_CTX_set_default_verify_paths(tls) == 1
               ? 0
               : fail("this machine's authorities can't be read", NULL, error);
}

/* The library connects to a number, so the name that was asked for is told to OpenSSL here. */
static int expect_host(SSL_CTX *tls, const char *host)
{
    X509_VERIFY_PARAM *param = SSL_CTX_get0_param(tls);
    struct in6_addr number;
    bool numeric =
        inet_pton(AF_INET, host, &number) == 1 || inet_pton(AF_INET6, host, &number) == 1;
    X509_VERIFY_PARAM_set_hostflags(param, X509_CHECK_FLAG_NO_PARTIAL_WILDCARDS);
    return numeric ? X509_VERIFY_PARAM_set1_ip_asc(param, host)
                   : X509_VERIFY_PARAM_set1_host(param, host, 0);
}

int mqtt_client_make_tls(struct mqtt_uv *client, struct error *error)
{
    if (!client->config.tls) {
        return 0;
    }
    SSL_CTX *tls = SSL_CTX_new(TLS_client_method());
    client->tls = tls;
    if (!tls) {
        return error_set(error, ERROR_MEMORY, "broker: out of memory");
    }
    SSL_CTX_set_app_data(tls, client);
    SSL_CTX_set_verify(tls, SSL_VERIFY_PEER, on_verify);
    SSL_CTX_set_info_callback(tls, on_info);
    if (SSL_CTX_set_min_proto_version(tls, TLS1_2_VERSION) != 1 ||
        expect_host(tls, client->config.host) != 1) {
        return fail("TLS can't be set up for", client->config.host, error);
    }
    return believe(tls, &client->config, error);
}

bool mqtt_client_has_peer(const struct mqtt_uv *client)
{
    struct sockaddr_storage peer;
    socklen_t size = sizeof peer;
    return client->socket >= 0 && getpeername(client->socket, (struct sockaddr *)&peer, &size) == 0;
}

bool mqtt_client_hung_up(const struct mqtt_uv *client)
{
    char byte;
    return client->socket >= 0 && client->tcp_connected && !client->handshaken &&
           recv(client->socket, &byte, 1, MSG_PEEK | MSG_DONTWAIT) == 0;
}
