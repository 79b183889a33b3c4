/* One SenML record: its fields by label, and its resolution against the base fields before it.
 * Must never look at other records. Used by senml.c and by the import of SenML files. */
#ifndef ROOMWAKE_COMMON_SENML_RECORD_H
#define ROOMWAKE_COMMON_SENML_RECORD_H

#include <cjson/cJSON.h>

#include "common/senml.h"

/* RFC 8428 sec. 4.1 and 4.2. */
enum senml_field {
    SENML_BN,
    SENML_BT,
    SENML_BU,
    SENML_BV,
    SENML_BS,
    SENML_BVER,
    SENML_N,
    SENML_U,
    SENML_V,
    SENML_VS,
    SENML_VB,
    SENML_VD,
    SENML_S,
    SENML_T,
    SENML_UT,
    SENML_FIELD_COUNT
};

/* The record's own members, NULL where not there; owned by the tree. */
struct senml_fields {
    const cJSON *items[SENML_FIELD_COUNT];
};

/* What the records so far say about those that follow. Start from {0}. */
struct senml_base {
    char name[SENML_NAME_SIZE];
    char unit[UNIT_SIZE];
    int64_t time_ns;
    bool has_value;
    struct decimal value;
    bool has_sum;
    struct decimal sum;
    int64_t version; /* 0 before the first record */
};

/* Finds and types the fields. Unknown labels are ignored unless they end in "_" (sec. 4.4). */
int senml_fields_find(const cJSON *record, struct senml_fields *fields, struct error *error);
/* Takes the base fields of a record over into *base. */
int senml_base_take(const struct senml_fields *fields, struct senml_base *base,
                    struct error *error);
/* The record with the base applied (sec. 4.6). */
int senml_record_resolve(const struct senml_fields *fields, const struct senml_base *base,
                         int64_t arrival_ns, struct senml_record *record, struct error *error);

#endif
