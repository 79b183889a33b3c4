/* SenML packs in JSON (RFC 8428, 2018) resolved to records.
 * Must never lose a digit of a number nor guess a unit; a record it cannot resolve is an error that
 * names the record. */
#ifndef ROOMWAKE_COMMON_SENML_H
#define ROOMWAKE_COMMON_SENML_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "common/decimal.h"
#include "common/error.h"
#include "common/text.h"
#include "common/units.h"

#define SENML_NAME_SIZE 256
#define SENML_TEXT_SIZE 128
#define SENML_RECORDS_MAX 20000
#define SENML_PACK_MAX ((size_t)1024 * 1024)

enum senml_kind { SENML_NUMBER, SENML_STRING, SENML_BOOLEAN, SENML_DATA, SENML_SUM_ONLY };

/* A resolved record (sec. 4.6): full name, absolute time, no base fields left. */
struct senml_record {
    char name[SENML_NAME_SIZE];
    char unit[UNIT_SIZE];
    int64_t time_ns;        /* since 1970 */
    bool time_from_arrival; /* the pack said a time relative to now, or none */
    enum senml_kind kind;
    struct decimal value; /* SENML_NUMBER; SENML_BOOLEAN: 0 or 1 */
    bool has_sum;
    struct decimal sum;
    char text[SENML_TEXT_SIZE]; /* SENML_STRING and SENML_DATA, cut to fit */
};

/* Resolves a pack. arrival_ns is the time that relative times (absolute value below 2^28 s) count
 * from. *records (sorted by time, equal times in pack order) is the caller's: free. */
int senml_resolve(const char *json, size_t length, int64_t arrival_ns,
                  struct senml_record **records, size_t *count, struct error *error);

#endif
