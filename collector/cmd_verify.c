/* roomwake verify: whether a night is whole and is what was sealed, and where it is not.
 * Must never hold more than options, one call and its words. Called by main.c. */
#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "collector/commands.h"
#include "collector/night/key.h"
#include "collector/night/verify.h"
#include "collector/options.h"
#include "collector/screen.h"
#include "common/timefmt.h"

/* 64 hex digits, in groups or not, as they were read out or written down. */
static int read_root(const char *text, uint8_t root[VERIFY_ROOT_SIZE], struct error *error)
{
    size_t digits = 0;
    for (const char *c = text; *c; c++) {
        if (isspace((unsigned char)*c) || *c == ':' || *c == '-') {
            continue;
        }
        if (!isxdigit((unsigned char)*c) || digits == 2 * (size_t)VERIFY_ROOT_SIZE) {
            digits = 0;
            break;
        }
        int value = isdigit((unsigned char)*c) ? *c - '0' : tolower((unsigned char)*c) - 'a' + 10;
        uint8_t *octet = &root[digits / 2];
        *octet = (uint8_t)(digits % 2 == 0 ? value << 4 : *octet | value);
        digits++;
    }
    return digits == 2 * (size_t)VERIFY_ROOT_SIZE
               ? 0
               : error_set(error, ERROR_USAGE, "--root: \"%.100s\" is no root: 64 hex digits",
                           text);
}

static void print_fault(void *context, const char *table, const char *row, const char *text)
{
    (void)context;
    printf("OFF       %s%s%s: ", table, row[0] != '\0' ? " " : "", row);
    screen_print_clean(text);
    (void)putchar('\n');
}

static void print_gap(void *context, const char *node, const struct gap *gap)
{
    char start[TIMEFMT_SIZE];
    char length[TIMEFMT_SIZE];
    (void)context;
    timefmt_rfc3339(gap->start_ns, start);
    timefmt_duration(gap->end_ns - gap->start_ns, length);
    printf("gap       %s, %s from %s: ", node, length, start);
    screen_print_clean(gap->reason);
    (void)putchar('\n');
}

static const char *whose_key(const uint8_t public_key[KEY_PUBLIC_SIZE], const struct key *own)
{
    if (!own) {
        return "this machine has none to compare it with";
    }
    return memcmp(own->public_key, public_key, KEY_PUBLIC_SIZE) == 0 ? "this machine's own"
                                                                     : "not this machine's";
}

static void print_seal(void *context, const struct verify_seal *seal)
{
    char what[32] = "samples";
    char when[TIMEFMT_SIZE];
    timefmt_rfc3339(seal->time_ns, when);
    if (seal->analysis != 0) {
        (void)snprintf(what, sizeof what, "analysis %" PRId64, seal->analysis);
    } else if (!seal->closed) {
        (void)snprintf(what, sizeof what, "samples so far");
    } else if (seal->added) {
        (void)snprintf(what, sizeof what, "with what was added later");
    }
    printf("seal      %s, %" PRId64 " rows, sealed %s: %s\n", what, seal->rows, when,
           seal->holds ? "holds" : "DOES NOT HOLD");
    screen_print_root("root", seal->root);
    screen_print_key("key", seal->public_key);
    printf("%-9s %s\n", "", whose_key(seal->public_key, context));
}

static void print_end(const struct verify_result *result, bool root_given)
{
    char when[TIMEFMT_SIZE];
    printf("night     %s, %s\n", result->id, result->end_ns != 0 ? "closed" : "not closed");
    printf("read      %" PRIu64 " messages, %" PRIu64 " blocks, %" PRIu64 " samples; %" PRIu64
           " seals made while it was recorded; %" PRIu64 " gaps\n",
           result->frames, result->blocks, result->samples, result->seals_so_far, result->gaps);
    if (result->rows_unsealed > 0) {
        printf("unsealed  %" PRIu64 " rows that came after the last seal\n", result->rows_unsealed);
    }
    if (root_given && result->root_found) {
        timefmt_rfc3339(result->root_time_ns, when);
        printf("root      the one given is this night's, sealed %s\n", when);
    }
    if (result->faults == 0) {
        printf("The night is whole and is what was sealed.\n");
    } else {
        printf("%" PRIu64 " %s off.\n", result->faults,
               result->faults == 1 ? "thing is" : "things are");
    }
}

static int run_command(const struct arguments *arguments)
{
    struct error error;
    struct key key;
    uint8_t root[VERIFY_ROOT_SIZE];
    struct verify_result result;
    const char *given = options_value(arguments, "root");
    if (given && read_root(given, root, &error) != 0) {
        return options_fail("verify", &error);
    }
    bool has_key = key_load_existing(&key, &error) == 0;
    if (!has_key && error.code != ERROR_NOT_FOUND) {
        fprintf(stderr, "roomwake verify: %s\n", error.text);
    }
    const struct verify_sink sink = {.context = has_key ? &key : NULL,
                                     .fault = print_fault,
                                     .seal = print_seal,
                                     .gap = print_gap};
    int outcome =
        night_verify(arguments->positionals[0], given ? root : NULL, &sink, &result, &error);
    if (has_key) {
        key_forget(&key);
    }
    if (outcome != 0) {
        return options_fail("verify", &error);
    }
    print_end(&result, given != NULL);
    return result.faults == 0 ? EXIT_CODE_SUCCESS : EXIT_CODE_FAILED;
}

static const struct option_spec options[] = {
    {"root", "HEX", false, "the root that was read out or written down on the night"},
    {0},
};

const struct command command_verify = {
    .name = "verify",
    .positional = "NIGHT",
    .summary = "whether a night is whole and is what was sealed",
    .options = options,
    .run = run_command,
};
