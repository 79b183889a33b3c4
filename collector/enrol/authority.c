/* The authority's key and certificate: kept, made on first use, and used for the broker's.
 * Must never overwrite an authority that is there. Called by enrol and record. */
#include "collector/enrol/authority.h"

#include <openssl/err.h>
#include <openssl/evp.h>
#include <openssl/pem.h>
#include <openssl/rand.h>
#include <openssl/x509v3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/enrol/addresses.h"

#define CURVE "P-256" /* small certificates, and small boards know it */
#define BEGINS "700101000000Z"
#define ENDS "99991231235959Z"
#define SERIAL_BYTES 8

struct authority {
    EVP_PKEY *key;
    X509 *certificate;
    char *pem;
};

static int fail(const char *what, struct error *error)
{
    char detail[160] = "out of memory";
    unsigned long code = ERR_get_error();
    if (code != 0) {
        ERR_error_string_n(code, detail, sizeof detail);
    }
    ERR_clear_error();
    return error_set(error, ERROR_STATE, "%s: %s", what, detail);
}

static int add_extension(X509 *certificate, X509 *issuer, int nid, const char *value)
{
    X509V3_CTX context;
    X509V3_set_ctx_nodb(&context);
    X509V3_set_ctx(&context, issuer, certificate, NULL, NULL, 0);
    X509_EXTENSION *extension = X509V3_EXT_conf_nid(NULL, &context, nid, value);
    int result = extension ? X509_add_ext(certificate, extension, -1) : 0;
    X509_EXTENSION_free(extension);
    return result;
}

static int set_serial(X509 *certificate)
{
    unsigned char bytes[SERIAL_BYTES];
    if (RAND_bytes(bytes, sizeof bytes) != 1) {
        return 0;
    }
    bytes[0] = (unsigned char)((bytes[0] & 0x7f) | 0x40); /* positive, and never short */
    BIGNUM *number = BN_bin2bn(bytes, sizeof bytes, NULL);
    int result = number && BN_to_ASN1_INTEGER(number, X509_get_serialNumber(certificate));
    BN_free(number);
    return result;
}

/* Everything but the extensions and the signature. */
static X509 *begin(EVP_PKEY *key, const char *site, const char *what)
{
    char name[64];
    X509 *certificate = X509_new();
    (void)snprintf(name, sizeof name, "%s %s", site, what);
    X509_NAME *subject = certificate ? X509_get_subject_name(certificate) : NULL;
    if (!certificate || X509_set_version(certificate, 2) != 1 || !set_serial(certificate) ||
        ASN1_TIME_set_string_X509(X509_getm_notBefore(certificate), BEGINS) != 1 ||
        ASN1_TIME_set_string_X509(X509_getm_notAfter(certificate), ENDS) != 1 ||
        X509_set_pubkey(certificate, key) != 1 ||
        X509_NAME_add_entry_by_txt(subject, "CN", MBSTRING_ASC, (unsigned char *)name, -1, -1, 0) !=
            1) {
        X509_free(certificate);
        return NULL;
    }
    return certificate;
}

static int write_pem(X509 *certificate, EVP_PKEY *key, struct text *out)
{
    BIO *bio = BIO_new(BIO_s_mem());
    char *bytes = NULL;
    int good = bio && (certificate ? PEM_write_bio_X509(bio, certificate)
                                   : PEM_write_bio_PrivateKey(bio, key, NULL, NULL, 0, NULL, NULL));
    long length = good == 1 ? BIO_get_mem_data(bio, &bytes) : 0;
    int result = length > 0 ? text_append(out, bytes, (size_t)length) : -1;
    BIO_free(bio);
    return result;
}

static int make_certificate(struct authority *authority, const char *site)
{
    X509 *certificate = begin(authority->key, site, "authority");
    authority->certificate = certificate;
    return certificate && X509_set_issuer_name(certificate, X509_get_subject_name(certificate)) &&
                   add_extension(certificate, certificate, NID_basic_constraints,
                                 "critical,CA:TRUE,pathlen:0") &&
                   add_extension(certificate, certificate, NID_key_usage,
                                 "critical,keyCertSign,cRLSign") &&
                   add_extension(certificate, certificate, NID_subject_key_identifier, "hash") &&
                   X509_sign(certificate, authority->key, EVP_sha256()) > 0
               ? 0
               : -1;
}

/* The key goes to disk before the certificate: half an authority is one that is made again. */
static int make(struct authority *authority, const struct keys *keys, const char *site,
                struct error *error)
{
    struct text key = {0};
    struct text certificate = {0};
    authority->key = EVP_EC_gen(CURVE);
    int result = -1;
    if (!authority->key || make_certificate(authority, site) != 0 ||
        write_pem(NULL, authority->key, &key) != 0 ||
        write_pem(authority->certificate, NULL, &certificate) != 0) {
        (void)fail("the site's authority", error);
    } else {
        result =
            keys_write(keys, KEYS_AUTHORITY_KEY, key.bytes, key.length, error) ||
                    keys_write(keys, KEYS_AUTHORITY, certificate.bytes, certificate.length, error)
                ? -1
                : 0;
    }
    authority->pem = certificate.bytes;
    if (key.bytes) {
        OPENSSL_cleanse(key.bytes, key.length);
    }
    text_free(&key);
    return result;
}

static int read_back(struct authority *authority, const struct keys *keys, struct error *error)
{
    struct text key = {0};
    struct text certificate = {0};
    if (keys_read(keys, KEYS_AUTHORITY, &certificate, error) != 0) {
        return -1;
    }
    authority->pem = certificate.bytes;
    if (keys_read(keys, KEYS_AUTHORITY_KEY, &key, error) != 0) {
        error->code = ERROR_STATE; /* an authority without its key is not to be made anew unasked */
        return -1;
    }
    BIO *key_bio = BIO_new_mem_buf(key.bytes, (int)key.length);
    BIO *certificate_bio = BIO_new_mem_buf(certificate.bytes, (int)certificate.length);
    authority->key = key_bio ? PEM_read_bio_PrivateKey(key_bio, NULL, NULL, NULL) : NULL;
    authority->certificate =
        certificate_bio ? PEM_read_bio_X509(certificate_bio, NULL, NULL, NULL) : NULL;
    BIO_free(key_bio);
    BIO_free(certificate_bio);
    OPENSSL_cleanse(key.bytes, key.length);
    text_free(&key);
    if (!authority->key || !authority->certificate ||
        X509_check_private_key(authority->certificate, authority->key) != 1) {
        ERR_clear_error();
        return error_set(error, ERROR_FORMAT,
                         "%s: " KEYS_AUTHORITY " and " KEYS_AUTHORITY_KEY " are no pair",
                         keys->folder);
    }
    return 0;
}

int authority_load(const struct keys *keys, const char *site, struct authority **out,
                   struct error *error)
{
    struct authority *authority = calloc(1, sizeof *authority);
    if (!authority) {
        return error_set(error, ERROR_MEMORY, "authority: out of memory");
    }
    int result = read_back(authority, keys, error);
    if (result != 0 && error->code == ERROR_NOT_FOUND) {
        result = make(authority, keys, site, error);
    }
    if (result != 0) {
        authority_free(authority);
        return -1;
    }
    *out = authority;
    return 0;
}

void authority_free(struct authority *authority)
{
    if (authority) {
        EVP_PKEY_free(authority->key);
        X509_free(authority->certificate);
        free(authority->pem);
        free(authority);
    }
}

const char *authority_pem(const struct authority *authority)
{
    return authority->pem;
}

static X509 *certify(const struct authority *authority, EVP_PKEY *key, const char *site,
                     const char *names)
{
    X509 *issuer = authority->certificate;
    X509 *certificate = begin(key, site, "broker");
    if (!certificate || !X509_set_issuer_name(certificate, X509_get_subject_name(issuer)) ||
        !add_extension(certificate, issuer, NID_basic_constraints, "critical,CA:FALSE") ||
        !add_extension(certificate, issuer, NID_key_usage, "critical,digitalSignature") ||
        !add_extension(certificate, issuer, NID_ext_key_usage, "serverAuth") ||
        !add_extension(certificate, issuer, NID_subject_alt_name, names) ||
        !add_extension(certificate, issuer, NID_authority_key_identifier, "keyid:always") ||
        X509_sign(certificate, authority->key, EVP_sha256()) <= 0) {
        X509_free(certificate);
        return NULL;
    }
    return certificate;
}

int authority_certify(const struct authority *authority, const char *site, const char *host,
                      struct text *certificate, struct text *key, struct error *error)
{
    struct text names = {0};
    memset(certificate, 0, sizeof *certificate);
    memset(key, 0, sizeof *key);
    if (addresses_as_names(host, &names, error) != 0) {
        return -1;
    }
    EVP_PKEY *pair = EVP_EC_gen(CURVE);
    X509 *made = pair ? certify(authority, pair, site, names.bytes) : NULL;
    int result = 0;
    if (!made || write_pem(made, NULL, certificate) != 0 || write_pem(NULL, pair, key) != 0 ||
        text_append(certificate, authority->pem, strlen(authority->pem)) != 0) {
        result = fail("the broker's certificate", error);
        text_free(certificate);
        text_free(key);
    }
    X509_free(made);
    EVP_PKEY_free(pair);
    text_free(&names);
    return result;
}
