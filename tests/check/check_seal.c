/* The seal's parts against published values: SHA-256, the hash tree of RFC 6962, Ed25519.
 * Must never depend on a night.
 * Run by ctest. */
#include "tests/unit/test.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "collector/night/key.h"
#include "collector/night/merkle.h"

static void hex(const uint8_t *bytes, size_t length, char *out)
{
    (void)sodium_bin2hex(out, 2 * length + 1, bytes, length);
}

static size_t bytes_of(const char *text, uint8_t *out, size_t size)
{
    size_t length = 0;
    assert_int_equal(sodium_hex2bin(out, size, text, strlen(text), NULL, &length, NULL), 0);
    return length;
}

/* FIPS 180-4 (2015) sec. 6.2; the digests of "abc" and of the empty message from memory, computed
 * again with another implementation. */
static void sha_256_is_that_of_fips_180_4(void **state)
{
    uint8_t digest[MERKLE_HASH_SIZE];
    char text[2 * MERKLE_HASH_SIZE + 1];
    (void)state;
    (void)crypto_hash_sha256(digest, (const uint8_t *)"abc", 3);
    hex(digest, sizeof digest, text);
    assert_string_equal(text, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    (void)crypto_hash_sha256(digest, NULL, 0);
    hex(digest, sizeof digest, text);
    assert_string_equal(text, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

/* RFC 6962 (2013) sec. 2.1; leaves and roots of the reference trees in the test suites of public
 * Certificate Transparency implementations. */
static void roots_are_those_of_rfc_6962_section_2_1(void **state)
{
    static const char *const leaves[8] = {"",
                                          "00",
                                          "10",
                                          "2021",
                                          "3031",
                                          "40414243",
                                          "5051525354555657",
                                          "606162636465666768696a6b6c6d6e6f"};
    static const char *const roots[9] = {
        "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
        "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
        "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
        "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
        "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
        "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"};
    struct merkle tree = {0};
    uint8_t root[MERKLE_HASH_SIZE];
    char text[2 * MERKLE_HASH_SIZE + 1];
    (void)state;
    for (size_t i = 0; i <= 8; i++) {
        merkle_root(&tree, root);
        hex(root, sizeof root, text);
        assert_string_equal(text, roots[i]);
        if (i < 8) {
            struct merkle_leaf leaf;
            uint8_t bytes[16];
            uint8_t hash[MERKLE_HASH_SIZE];
            size_t length = bytes_of(leaves[i], bytes, sizeof bytes);
            merkle_leaf_begin(&leaf);
            (void)crypto_hash_sha256_update(&leaf.hash, bytes, length);
            merkle_leaf_end(&leaf, hash);
            merkle_add(&tree, hash);
        }
    }
}

/* RFC 6962 (2013) sec. 2.1, its recursive definition word for word: split at the largest power of
 * two smaller than n. */
static void root_by_definition(const uint8_t (*hashes)[MERKLE_HASH_SIZE], size_t count,
                               uint8_t root[MERKLE_HASH_SIZE])
{
    if (count == 1) {
        memcpy(root, hashes[0], MERKLE_HASH_SIZE);
        return;
    }
    size_t split = 1;
    while (2 * split < count) {
        split *= 2;
    }
    uint8_t node[1 + 2 * MERKLE_HASH_SIZE] = {0x01};
    root_by_definition(hashes, split, node + 1);
    root_by_definition(hashes + split, count - split, node + 1 + MERKLE_HASH_SIZE);
    (void)crypto_hash_sha256(root, node, sizeof node);
}

static void roots_of_every_size_are_those_of_the_definition(void **state)
{
    enum { MOST = 300 };
    static uint8_t hashes[MOST][MERKLE_HASH_SIZE];
    struct merkle tree = {0};
    (void)state;
    for (size_t i = 0; i < MOST; i++) {
        uint8_t root[MERKLE_HASH_SIZE];
        uint8_t expected[MERKLE_HASH_SIZE];
        (void)crypto_hash_sha256(hashes[i], (const uint8_t *)&i, sizeof i);
        merkle_add(&tree, hashes[i]);
        merkle_root(&tree, root);
        root_by_definition((const uint8_t(*)[MERKLE_HASH_SIZE])hashes, i + 1, expected);
        assert_memory_equal(root, expected, sizeof root);
    }
}

static const struct {
    const char *seed;
    const char *message;
    const char *public_key;
    const char *signature;
} vectors[] = {
    {"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60", "",
     "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
     "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b"
     "4"
     "6bd25bf5f0595bbe24655141438e7a100b"},
    {"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb", "72",
     "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
     "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11"
     "d"
     "8c387b2eaeb4302aeeb00d291612bb0c00"},
    {"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7", "af82",
     "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
     "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc"
     "6"
     "594a7c15e9716ed28dc027beceea1ec40a"},
};

static char *write_key(const char *seed, mode_t mode)
{
    static char path[128];
    const char *base = getenv("TMPDIR");
    (void)snprintf(path, sizeof path, "%s/check-seal-XXXXXX", base ? base : "/tmp");
    int descriptor = mkstemp(path);
    assert_true(descriptor >= 0);
    assert_int_equal(write(descriptor, seed, strlen(seed)), strlen(seed));
    assert_int_equal(write(descriptor, "\n", 1), 1);
    assert_int_equal(fchmod(descriptor, mode), 0);
    assert_int_equal(close(descriptor), 0);
    assert_int_equal(setenv("ROOMWAKE_KEY", path, 1), 0);
    return path;
}

/* RFC 8032 (2017) sec. 7.1, tests 1 to 3, through our key file and our calls. */
static void signatures_are_those_of_rfc_8032_section_7_1(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof vectors / sizeof *vectors; i++) {
        char *path = write_key(vectors[i].seed, 0600);
        struct key key;
        struct error error;
        uint8_t message[2];
        uint8_t signature[KEY_SIGNATURE_SIZE];
        char text[2 * KEY_SIGNATURE_SIZE + 1];
        if (key_load(&key, &error) != 0) {
            fail_msg("%s", error.text);
        }
        hex(key.public_key, sizeof key.public_key, text);
        assert_string_equal(text, vectors[i].public_key);
        size_t length = bytes_of(vectors[i].message, message, sizeof message);
        key_sign(&key, message, length, signature);
        hex(signature, sizeof signature, text);
        assert_string_equal(text, vectors[i].signature);
        assert_int_equal(key_verify(key.public_key, message, length, signature), 0);
        signature[i] ^= 1;
        assert_int_equal(key_verify(key.public_key, message, length, signature), -1);
        assert_int_equal(unlink(path), 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sha_256_is_that_of_fips_180_4),
        cmocka_unit_test(roots_are_those_of_rfc_6962_section_2_1),
        cmocka_unit_test(roots_of_every_size_are_those_of_the_definition),
        cmocka_unit_test(signatures_are_those_of_rfc_8032_section_7_1),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
