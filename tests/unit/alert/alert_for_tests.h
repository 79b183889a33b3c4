/* A house and a coincidence in it for the tests of alert.
 * Must never be included by product code. */
#ifndef ROOMWAKE_TESTS_UNIT_ALERT_ALERT_FOR_TESTS_H
#define ROOMWAKE_TESTS_UNIT_ALERT_ALERT_FOR_TESTS_H

#include "tests/unit/test.h"

#include "collector/model/coincidence.h"
#include "common/clock.h"
#include "common/site.h"

#define T0_NS (INT64_C(1709330400) * NS_PER_S) /* 2024-03-01T22:00:00Z */

static const char alert_site_text[] =
    "{\"site\":\"lodge\",\"title\":\"The lodge\",\"rooms\":["
    "{\"id\":\"hall\",\"title\":\"\",\"floor\":0,\"outline_m\":[[0,0],[6,0],[6,4],[0,4]]},"
    "{\"id\":\"passage\",\"title\":\"\",\"floor\":0,\"outline_m\":[[6,0],[8,0],[8,4],[6,4]]},"
    "{\"id\":\"kitchen\",\"title\":\"big \\\"kitchen\\\"\",\"floor\":0,"
    "\"outline_m\":[[8,0],[12,0],[12,4],[8,4]]}],"
    "\"doors\":[{\"between\":[\"hall\",\"passage\"],\"at_m\":[6,2]},"
    "{\"between\":[\"passage\",\"kitchen\"],\"at_m\":[8,2]}],"
    "\"nodes\":["
    "{\"id\":\"n1\",\"room\":\"hall\",\"position_m\":[1,2,0.8],"
    "\"channels\":[{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":50}]},"
    "{\"id\":\"n2\",\"room\":\"passage\",\"position_m\":[7,2,0.8],"
    "\"channels\":[{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":50}]},"
    "{\"id\":\"n3\",\"room\":\"kitchen\",\"position_m\":[9,2,0.8],"
    "\"channels\":[{\"name\":\"magnetic.x\",\"unit\":\"T\",\"rate_hz\":50}]}]}";

__attribute__((unused)) static struct site *make_alert_site(void)
{
    struct error error;
    struct site *site = NULL;
    if (site_parse(alert_site_text, sizeof alert_site_text - 1, "test site", &site, &error)) {
        fail_msg("%s", error.text);
    }
    return site;
}

/* Three nodes within 18 ms, unexplained, by chance 0.004 a night. */
static void make_coincidence(struct coincidence *coincidence)
{
    memset(coincidence, 0, sizeof *coincidence);
    coincidence->id = 7;
    coincidence->kind = COINCIDENCE_PROMPT;
    coincidence->start_ns = T0_NS + 120000000;
    coincidence->end_ns = T0_NS + NS_PER_S;
    coincidence->member_count = 3;
    coincidence->witness_count = 3;
    coincidence->node_count = 3;
    coincidence->order_count = 3;
    coincidence->path_count = 3;
    for (uint32_t i = 0; i < 3; i++) {
        int64_t onset = coincidence->start_ns + i * 9000000;
        struct disturbance *member = &coincidence->members[i];
        *member = (struct disturbance){.id = 10 + i,
                                       .node = i,
                                       .quantity = QUANTITY_MAGNETIC,
                                       .quantity_text = "magnetic",
                                       .unit = "T",
                                       .onset_ns = onset,
                                       .pick_sd_ns = 2000000,
                                       .peak_value = 312e-9,
                                       .peak_score = 9.1};
        coincidence->order[i] = (struct order_entry){.node = i,
                                                     .onset_ns = onset,
                                                     .onset_sd_ns = 2000000,
                                                     .first_probability = 0.5 / (i + 1)};
        coincidence->path[i] = (struct path_step){.room = i, .time_ns = onset};
    }
    coincidence->chance = (struct chance){.per_night = 0.004, .p_value = 0.003992};
    coincidence->verdict.reason_count = 1;
    (void)snprintf(coincidence->verdict.reasons[0], COINCIDENCE_REASON_SIZE,
                   "no step at \"50 Hz\"");
    coincidence->final = true;
}

#endif
