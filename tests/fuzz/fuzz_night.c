/* Any bytes as a night file: what can be read of it and what is off, or an error that says why.
 * Must never be linked into a product; libFuzzer calls it. */
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "collector/night/reader.h"
#include "collector/night/verify.h"

#define BLOCKS_MOST 200

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

static int see_disturbance(void *context, const struct disturbance *disturbance)
{
    (void)context;
    require(disturbance != NULL);
    return 0;
}

static int see_coincidence(void *context, const struct coincidence *coincidence)
{
    (void)context;
    require(coincidence != NULL);
    return 0;
}

static int see_mark(void *context, const struct mark *mark)
{
    (void)context;
    require(mark != NULL);
    return 0;
}

static int see_gap(void *context, const struct gap *gap)
{
    (void)context;
    require(gap != NULL);
    return 0;
}

static void see_fault(void *context, const char *table, const char *row, const char *text)
{
    (void)context;
    require(table && row && text[0]); /* a table may be named "" in a night from outside */
}

static void see_seal(void *context, const struct verify_seal *seal)
{
    (void)context;
    require(seal != NULL);
}

static void see_node_gap(void *context, const char *node, const struct gap *gap)
{
    (void)context;
    require(node && gap);
}

static void verify(const char *path)
{
    const struct verify_sink sink = {
        .fault = see_fault, .seal = see_seal, .gap = see_node_gap, .context = NULL};
    struct verify_result result;
    struct error error = {0};
    if (night_verify(path, NULL, &sink, &result, &error) != 0) {
        require(error.code != ERROR_NONE && error.text[0]);
    }
}

static void read_blocks(struct night_reader *reader)
{
    struct night_blocks *cursor = NULL;
    struct night_block_row row;
    struct error error;
    if (night_blocks_open(reader, SIZE_MAX, INT64_MIN, INT64_MAX, &cursor, &error) != 0) {
        return;
    }
    for (int i = 0; i < BLOCKS_MOST && night_blocks_next(cursor, &row, &error) == 1; i++) {
    }
    night_blocks_close(cursor);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    char path[512];
    struct night_reader *reader = NULL;
    struct night_info info;
    struct site *site = NULL;
    struct error error = {0};
    const char *folder = getenv("TMPDIR");
    (void)snprintf(path, sizeof path, "%.400s/roomwake-fuzz-night-%d", folder ? folder : "/tmp",
                   (int)getpid());
    FILE *file = fopen(path, "wb");
    require(file && fwrite(data, 1, size, file) == size && fclose(file) == 0);
    if (night_reader_open(path, &reader, &error) == 0) {
        (void)night_read_info(reader, &info, &error);
        if (night_read_site(reader, 0, &site, &error) == 0) {
            site_free(site);
        }
        read_blocks(reader);
        (void)night_each_disturbance(reader, 1, see_disturbance, NULL, &error);
        (void)night_each_coincidence(reader, 1, see_coincidence, NULL, &error);
        (void)night_each_mark(reader, see_mark, NULL, &error);
        (void)night_each_gap(reader, see_gap, NULL, &error);
        night_reader_close(reader);
    } else {
        require(error.code != ERROR_NONE && error.text[0]);
    }
    verify(path);
    (void)unlink(path);
    return 0;
}
