/* A small house for the tests of ingest: two rooms, three nodes.
 * Must never be included by product code. */
#ifndef ROOMWAKE_TESTS_UNIT_INGEST_SITE_FOR_TESTS_H
#define ROOMWAKE_TESTS_UNIT_INGEST_SITE_FOR_TESTS_H

#include "tests/unit/test.h"

#include "common/site.h"

static const char site_for_tests_text[] =
    "{\"site\":\"lodge\",\"title\":\"The lodge\","
    "\"rooms\":[{\"id\":\"hall\",\"title\":\"\",\"floor\":0,"
    "\"outline_m\":[[0,0],[6,0],[6,4],[0,4]]},"
    "{\"id\":\"kitchen\",\"title\":\"\",\"floor\":0,\"outline_m\":[[6,0],[10,0],[10,4],[6,4]]}],"
    "\"doors\":[{\"between\":[\"hall\",\"kitchen\"],\"at_m\":[6,2]}],"
    "\"nodes\":["
    "{\"id\":\"n1\",\"room\":\"hall\",\"position_m\":[1,2,0.8],\"clock_error_s\":0.002,"
    "\"channels\":[{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":1},"
    "{\"name\":\"motion\",\"unit\":\"/\",\"rate_hz\":0}]},"
    "{\"id\":\"n2\",\"room\":\"kitchen\",\"position_m\":[8,2,0.8],"
    "\"channels\":[{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":50},"
    "{\"name\":\"temperature\",\"unit\":\"Cel\",\"rate_hz\":1}]},"
    "{\"id\":\"n3\",\"room\":\"kitchen\",\"position_m\":[9,1,0.8],"
    "\"channels\":[{\"name\":\"humidity\",\"unit\":\"%RH\",\"rate_hz\":1}]}]}";

static struct site *make_site(void)
{
    struct error error;
    struct site *site = NULL;
    if (site_parse(site_for_tests_text, sizeof site_for_tests_text - 1, "test site", &site,
                   &error)) {
        fail_msg("%s", error.text);
    }
    return site;
}

#endif
