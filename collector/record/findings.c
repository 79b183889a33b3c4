/* Findings into the night, through the alert policy, to who listens.
 * Must never judge by itself. Called by the pipeline through its sink. */
#include "collector/record/findings.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "collector/alert/alert_json.h"
#include "collector/alert/policy.h"
#include "collector/alert/sentence.h"
#include "common/log.h"

/* What was last said of the coincidences that are not final yet. */
#define OPEN_MAX ALERT_OPEN_MAX
/* Unexplained ones that accidents bring more often than this a night are not told on the way. */
#define TELL_PER_NIGHT 1.0

struct open_one {
    int64_t id;
    enum cause_kind cause;
    bool marked;
    size_t nodes;
};

struct findings {
    const struct site *site;
    struct night_writer *writer;
    int analysis;
    bool may_wait;
    struct findings_hooks hooks;
    struct findings_counts counts;
    struct alert_policy policy;
    size_t open_count;
    struct open_one open[OPEN_MAX];
    bool failed;
    struct error failure;
    struct text line;
    struct text json;
};

/* Whether a refused put is to be tried again; remembers the failure otherwise. */
static bool try_again(struct findings *findings, const struct error *error)
{
    struct error flush_error;
    if (findings->may_wait && error->code == ERROR_FULL) {
        if (night_writer_flush(findings->writer, &flush_error) == 0) {
            return true;
        }
        error = &flush_error;
    }
    findings->counts.unstored++;
    if (!findings->failed) {
        findings->failed = true;
        findings->failure = *error;
    }
    return false;
}

static void store_disturbance(struct findings *findings, const struct disturbance *disturbance)
{
    struct error error;
    while (night_put_disturbance(findings->writer, findings->analysis, disturbance, &error) != 0 &&
           try_again(findings, &error)) {
    }
}

static void tell_disturbed(const struct findings *findings, const struct disturbance *disturbance)
{
    if (findings->hooks.disturbed) {
        findings->hooks.disturbed(findings->hooks.context, disturbance);
    }
}

static void on_disturbance(void *context, const struct disturbance *disturbance)
{
    struct findings *findings = context;
    findings->counts.disturbances++;
    store_disturbance(findings, disturbance);
    tell_disturbed(findings, disturbance);
}

static void on_disturbance_ended(void *context, const struct disturbance *disturbance)
{
    store_disturbance(context, disturbance);
    tell_disturbed(context, disturbance);
}

static struct open_one *find_open(struct findings *findings, int64_t id)
{
    for (size_t i = 0; i < findings->open_count; i++) {
        if (findings->open[i].id == id) {
            return &findings->open[i];
        }
    }
    return NULL;
}

/* Keeps what was said of a coincidence until it is final. true: it is told for the first time. */
static bool remember(struct findings *findings, const struct coincidence *coincidence,
                     struct open_one *before)
{
    struct open_one now = {coincidence->id, coincidence->verdict.cause, coincidence->mark_id != 0,
                           coincidence->node_count};
    struct open_one *open = find_open(findings, coincidence->id);
    bool first = open == NULL && !coincidence->again;
    *before = open ? *open : now;
    if (first && !coincidence->final && findings->open_count < OPEN_MAX) {
        findings->open[findings->open_count++] = now;
    } else if (open && coincidence->final) {
        *open = findings->open[--findings->open_count];
    } else if (open) {
        *open = now;
    }
    return first;
}

static void store_coincidence(struct findings *findings, const struct coincidence *coincidence)
{
    struct error error;
    while (night_put_coincidence(findings->writer, findings->analysis, coincidence, &error) != 0 &&
           try_again(findings, &error)) {
    }
}

static void raise_alert(struct findings *findings, const struct coincidence *coincidence)
{
    struct error error;
    findings->counts.alerts++;
    text_clear(&findings->json);
    if (alert_json_write(findings->site, coincidence, findings->line.bytes, &findings->json) != 0) {
        log_error("alert %lld: out of memory", (long long)coincidence->id);
        return;
    }
    while (night_put_alert(findings->writer, findings->analysis, coincidence->id,
                           coincidence->start_ns, findings->line.bytes, &error) != 0 &&
           try_again(findings, &error)) {
    }
    struct alert alert = {.coincidence = coincidence,
                          .line = findings->line.bytes,
                          .json = findings->json.bytes,
                          .json_length = findings->json.length};
    if (findings->hooks.alert) {
        findings->hooks.alert(findings->hooks.context, &alert);
    }
}

/* What chance alone brings about as often is kept in the night, for the review, and not told. */
static bool worth_telling(const struct coincidence *coincidence)
{
    return coincidence->verdict.cause != CAUSE_UNEXPLAINED ||
           coincidence->chance.per_night < TELL_PER_NIGHT;
}

static void on_coincidence(void *context, const struct coincidence *told)
{
    struct findings *findings = context;
    struct coincidence coincidence = *told;
    struct open_one before;
    bool first = remember(findings, &coincidence, &before);
    findings->counts.coincidences += first ? 1 : 0;
    enum alert_decision decision = alert_policy_judge(&findings->policy, &coincidence);
    store_coincidence(findings, &coincidence);
    text_clear(&findings->line);
    if (sentence_line(findings->site, &coincidence, &findings->line) != 0) {
        log_error("coincidence %lld: out of memory", (long long)coincidence.id);
        return;
    }
    bool changed = coincidence.again || before.cause != coincidence.verdict.cause ||
                   before.marked != (coincidence.mark_id != 0) ||
                   before.nodes != coincidence.node_count;
    if (decision == ALERT_RAISE) {
        raise_alert(findings, &coincidence);
    } else if (changed && (decision == ALERT_HELD || decision == ALERT_UNDONE) &&
               coincidence.verdict.cause != CAUSE_UNEXPLAINED && findings->hooks.withdrawn) {
        findings->hooks.withdrawn(findings->hooks.context, &coincidence, findings->line.bytes);
    } else if ((first || (changed && !coincidence.alert)) && worth_telling(&coincidence) &&
               findings->hooks.told) {
        findings->hooks.told(findings->hooks.context, &coincidence, findings->line.bytes);
    }
}

static void on_noticed(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    struct findings *findings = context;
    struct error error;
    while (night_put_notice(findings->writer, findings->analysis, node, quantity, time_ns, text,
                            &error) != 0 &&
           try_again(findings, &error)) {
    }
    if (findings->hooks.noticed) {
        findings->hooks.noticed(findings->hooks.context, node, quantity, time_ns, text);
    }
}

/* An alert that was raised stays one: it was raised on what was known then. */
static void on_chance(void *context, int64_t coincidence_id, const struct chance *chance)
{
    struct findings *findings = context;
    struct error error;
    while (night_put_chance(findings->writer, findings->analysis, coincidence_id, chance, &error) !=
               0 &&
           try_again(findings, &error)) {
    }
}

int findings_new(const struct site *site, struct night_writer *writer, int analysis, bool may_wait,
                 const struct findings_hooks *hooks, struct findings **out, struct error *error)
{
    struct findings *findings = calloc(1, sizeof *findings);
    if (!findings) {
        return error_set(error, ERROR_MEMORY, "findings: out of memory");
    }
    findings->site = site;
    findings->writer = writer;
    findings->analysis = analysis;
    findings->may_wait = may_wait;
    if (hooks) {
        findings->hooks = *hooks;
    }
    alert_policy_init(&findings->policy, site->alert_limit_per_night);
    *out = findings;
    return 0;
}

void findings_free(struct findings *findings)
{
    if (findings) {
        text_free(&findings->line);
        text_free(&findings->json);
        free(findings);
    }
}

struct finding_sink findings_sink(struct findings *findings)
{
    return (struct finding_sink){
        .context = findings,
        .disturbance = on_disturbance,
        .disturbance_ended = on_disturbance_ended,
        .coincidence = on_coincidence,
        .noticed = on_noticed,
        .chance = on_chance,
    };
}

const struct findings_counts *findings_get_counts(const struct findings *findings)
{
    return &findings->counts;
}

const struct error *findings_failure(const struct findings *findings)
{
    return findings->failed ? &findings->failure : NULL;
}
