/* A folder, a tar file or a tar stream, with a SHA-256 sum of each file in it.
 * Must never give it its name before it is whole and on disk. Called by bundle.c. */
#include "collector/export/bundle_store.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <sodium.h>

#include "collector/export/bundle_tar.h"

#define READ_SIZE 65536

static int out_of_memory(const struct bundle_store *store, struct error *error)
{
    return error_set(error, ERROR_MEMORY, "%s: out of memory", store->path);
}

static bool ends_in_tar(const char *path)
{
    size_t length = strlen(path);
    return length > 4 && strcmp(path + length - 4, ".tar") == 0;
}

static int open_folder(struct bundle_store *store, struct error *error)
{
    struct stat there;
    if (lstat(store->path, &there) == 0) {
        return error_set(error, ERROR_BUSY, "%s: exists already", store->path);
    }
    size_t length = strlen(store->path);
    while (length > 1 && store->path[length - 1] == '/') {
        length--;
    }
    if (asprintf(&store->folder, "%.*s.XXXXXX", (int)length, store->path) < 0) {
        store->folder = NULL;
        return out_of_memory(store, error);
    }
    if (!mkdtemp(store->folder)) {
        (void)whole_fail(store->path, error);
        free(store->folder);
        store->folder = NULL;
        return -1;
    }
    return 0;
}

int bundle_store_open(struct bundle_store *store, const char *path, const char *prefix,
                      int64_t time_s, bool replace, struct error *error)
{
    *store = (struct bundle_store){.path = path, .prefix = prefix, .time_s = time_s};
    store->tar = ends_in_tar(path);
    if (!store->tar) {
        return open_folder(store, error);
    }
    if (whole_open(&store->whole, path, replace, error) != 0) {
        return -1;
    }
    if (!store->whole.plain) {
        whole_abandon(&store->whole);
        return error_set(error, ERROR_IO, "%s: a bundle needs a plain file", path);
    }
    return 0;
}

void bundle_store_stream(struct bundle_store *store, FILE *out, FILE *scratch, const char *prefix,
                         int64_t time_s)
{
    *store = (struct bundle_store){
        .path = "bundle", .prefix = prefix, .time_s = time_s, .stream = out, .scratch = scratch};
}

/* Joins the folder's name and a file's; NULL where memory ran out. Caller frees. */
static char *join(const struct bundle_store *store, const char *name)
{
    char *path = NULL;
    return asprintf(&path, "%s/%s", store->folder, name) < 0 ? NULL : path;
}

int bundle_store_begin(struct bundle_store *store, const char *name, FILE **out,
                       struct error *error)
{
    (void)snprintf(store->name, sizeof store->name, "%s", name);
    if (store->stream) {
        store->begin = 0;
        store->member = store->scratch;
        *out = store->member;
        rewind(store->scratch);
        return ftruncate(fileno(store->scratch), 0) == 0 ? 0 : whole_fail(store->path, error);
    }
    if (store->tar) {
        static const char empty[TAR_BLOCK];
        store->member = store->whole.out;
        *out = store->member;
        if (fwrite(empty, sizeof empty, 1, store->member) != 1) {
            return whole_fail(store->path, error);
        }
        store->begin = ftello(store->member);
        return store->begin < 0 ? whole_fail(store->path, error) : 0;
    }
    char *path = join(store, name);
    if (!path) {
        return out_of_memory(store, error);
    }
    int descriptor = open(path, O_RDWR | O_CREAT | O_EXCL | O_CLOEXEC, 0644);
    free(path);
    store->begin = 0;
    store->member = descriptor >= 0 ? fdopen(descriptor, "w") : NULL;
    if (!store->member) {
        (void)whole_fail(store->path, error);
        if (descriptor >= 0) {
            close(descriptor);
        }
        return -1;
    }
    *out = store->member;
    return 0;
}

/* The sum of the member's `size` bytes, as they are in the file. */
static int add_sum(struct bundle_store *store, int64_t size, struct error *error)
{
    static const char digits[] = "0123456789abcdef";
    unsigned char sum[crypto_hash_sha256_BYTES];
    char *bytes = malloc(READ_SIZE);
    crypto_hash_sha256_state state;
    if (!bytes) {
        return out_of_memory(store, error);
    }
    (void)crypto_hash_sha256_init(&state);
    for (int64_t at = 0; at < size;) {
        int64_t left = size - at;
        ssize_t got = pread(fileno(store->member), bytes,
                            left < READ_SIZE ? (size_t)left : (size_t)READ_SIZE, store->begin + at);
        if (got <= 0) {
            free(bytes);
            return whole_fail(store->path, error);
        }
        (void)crypto_hash_sha256_update(&state, (unsigned char *)bytes, (unsigned long long)got);
        at += got;
    }
    free(bytes);
    (void)crypto_hash_sha256_final(&state, sum);
    for (size_t i = 0; i < sizeof sum; i++) {
        (void)text_append_format(&store->sums, "%c%c", digits[sum[i] >> 4], digits[sum[i] & 15]);
    }
    (void)text_append_format(&store->sums, "  %s\n", store->name);
    return store->sums.failed ? out_of_memory(store, error) : 0;
}

/* What fills the last block. */
static int put_rest(const struct bundle_store *store, int64_t size, FILE *out, struct error *error)
{
    static const char empty[TAR_BLOCK];
    size_t rest = (size_t)(size % TAR_BLOCK);
    return rest == 0 || fwrite(empty, TAR_BLOCK - rest, 1, out) == 1
               ? 0
               : whole_fail(store->path, error);
}

static int end_in_tar(struct bundle_store *store, int64_t size, struct error *error)
{
    char head[TAR_BLOCK];
    bundle_tar_head(store->prefix, store->name, size, store->time_s, head);
    if (pwrite(fileno(store->member), head, sizeof head, store->begin - TAR_BLOCK) != TAR_BLOCK) {
        return whole_fail(store->path, error);
    }
    int result = put_rest(store, size, store->member, error);
    store->member = NULL;
    return result;
}

/* The size is known now: the head can go, and the bytes behind it. */
static int end_in_stream(struct bundle_store *store, int64_t size, struct error *error)
{
    char head[TAR_BLOCK];
    char *bytes = malloc(READ_SIZE);
    size_t got = 1;
    if (!bytes) {
        return out_of_memory(store, error);
    }
    bundle_tar_head(store->prefix, store->name, size, store->time_s, head);
    bool bad = fwrite(head, sizeof head, 1, store->stream) != 1;
    rewind(store->scratch);
    while (!bad && (got = fread(bytes, 1, READ_SIZE, store->scratch)) > 0) {
        bad = fwrite(bytes, 1, got, store->stream) != got;
    }
    free(bytes);
    store->member = NULL;
    if (bad || ferror(store->scratch) || put_rest(store, size, store->stream, error) != 0) {
        return whole_fail(store->path, error);
    }
    return whole_flush(store->stream, store->path, error);
}

int bundle_store_end(struct bundle_store *store, struct error *error)
{
    if (whole_flush(store->member, store->path, error) != 0) {
        return -1;
    }
    int64_t end = ftello(store->member);
    if (end < 0 || add_sum(store, end - store->begin, error) != 0) {
        return end < 0 ? whole_fail(store->path, error) : -1;
    }
    if (store->stream) {
        return end_in_stream(store, end, error);
    }
    if (store->tar) {
        return end_in_tar(store, end - store->begin, error);
    }
    int result = fsync(fileno(store->member)) == 0 ? 0 : whole_fail(store->path, error);
    if (fclose(store->member) != 0 && result == 0) {
        result = whole_fail(store->path, error);
    }
    store->member = NULL;
    return result;
}

static int put_sums(struct bundle_store *store, struct error *error)
{
    FILE *out = NULL;
    struct text sums = store->sums;
    store->sums = (struct text){0};
    int result = bundle_store_begin(store, "SHA256SUMS", &out, error);
    if (result == 0 && fwrite(sums.bytes, 1, sums.length, out) != sums.length) {
        result = whole_fail(store->path, error);
    }
    text_free(&sums);
    return result == 0 ? bundle_store_end(store, error) : -1;
}

static int name_folder(struct bundle_store *store, struct error *error)
{
    if (chmod(store->folder, 0755) != 0) {
        return whole_fail(store->path, error);
    }
    int descriptor = open(store->folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    int result = descriptor >= 0 && fsync(descriptor) == 0 ? 0 : whole_fail(store->path, error);
    if (descriptor >= 0) {
        close(descriptor);
    }
    if (result != 0) {
        return -1;
    }
    if (renameat2(AT_FDCWD, store->folder, AT_FDCWD, store->path, RENAME_NOREPLACE) != 0) {
        return errno == EEXIST ? error_set(error, ERROR_BUSY, "%s: exists already", store->path)
                               : whole_fail(store->path, error);
    }
    free(store->folder);
    store->folder = NULL;
    return whole_sync_folder(store->path, error);
}

int bundle_store_close(struct bundle_store *store, struct error *error)
{
    static const char end[2 * TAR_BLOCK];
    int result = put_sums(store, error);
    FILE *archive = store->stream ? store->stream : store->whole.out;
    if (result == 0 && archive && fwrite(end, sizeof end, 1, archive) != 1) {
        result = whole_fail(store->path, error);
    }
    if (result == 0 && store->stream) {
        result = whole_flush(store->stream, store->path, error);
    } else if (result == 0 && store->tar) {
        result = whole_close(&store->whole, error);
    } else if (result == 0) {
        result = name_folder(store, error);
    }
    bundle_store_abandon(store);
    return result;
}

/* This store made the folder, and everything in it. */
static void remove_folder(struct bundle_store *store)
{
    DIR *folder = opendir(store->folder);
    for (struct dirent *entry = folder ? readdir(folder) : NULL; entry; entry = readdir(folder)) {
        (void)unlinkat(dirfd(folder), entry->d_name, 0); /* "." and ".." refuse */
    }
    if (folder) {
        (void)closedir(folder);
    }
    (void)rmdir(store->folder);
}

void bundle_store_abandon(struct bundle_store *store)
{
    if (store->member && !store->tar && !store->stream) {
        (void)fclose(store->member);
    }
    store->member = NULL;
    if (store->scratch) {
        (void)fclose(store->scratch);
        store->scratch = NULL;
    }
    if (store->tar) {
        whole_abandon(&store->whole);
    } else if (store->folder) {
        remove_folder(store);
        free(store->folder);
        store->folder = NULL;
    }
    text_free(&store->sums);
}
