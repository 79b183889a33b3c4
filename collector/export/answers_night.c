/* Puts each session's steps together with what the night saw in its windows.
 * Must never count what the plan does not name. Called by cmd_answers.c. */
#include "collector/export/answers_night.h"

#include <stdlib.h>
#include <string.h>

#include "collector/questions/answers.h"
#include "collector/questions/draw.h"

#define NS_PER_S 1e9
#define SESSIONS_MAX 256

struct held {
    char id[IDENT_SIZE];
    struct question_plan *plan;
    char *plan_text;
    uint8_t bound[DRAW_SEED_SIZE];
    bool seed_told;
    uint8_t seed[DRAW_SEED_SIZE];
    char broken[256]; /* "" where it was not */
    size_t window_count;
    struct score_window windows[DRAW_WINDOWS_MAX];
};

struct gathering {
    struct night_reader *reader;
    struct night_info info;
    struct site *site;
    size_t held_count;
    struct held *held[SESSIONS_MAX];
    const struct held *now;
    struct score_onset *onsets;
    size_t onset_count;
    size_t onset_size;
    int64_t *ordinary; /* ids of disturbances, sorted */
    size_t ordinary_count;
    size_t ordinary_size;
    struct answers answers;
    uint32_t broken_windows;
    struct error *error;
};

static struct held *find(struct gathering *all, const char *id)
{
    for (size_t i = 0; i < all->held_count; i++) {
        if (strcmp(all->held[i]->id, id) == 0) {
            return all->held[i];
        }
    }
    return NULL;
}

/* "HEX PLAN" into a new session. */
static int take_plan(struct gathering *all, const struct message_question *said)
{
    char hex[DRAW_HEX_SIZE];
    struct held *held = NULL;
    if (all->held_count >= SESSIONS_MAX || strlen(said->text) < DRAW_HEX_SIZE ||
        !(held = calloc(1, sizeof *held))) {
        return error_set(all->error, ERROR_FORMAT, "%s: no plan, or too many sessions",
                         said->session);
    }
    all->held[all->held_count++] = held;
    memcpy(held->id, said->session, sizeof held->id);
    memcpy(hex, said->text, DRAW_HEX_SIZE - 1);
    hex[DRAW_HEX_SIZE - 1] = '\0';
    held->plan_text = strdup(said->text + DRAW_HEX_SIZE);
    if (!held->plan_text) {
        return error_set(all->error, ERROR_MEMORY, "answers: out of memory");
    }
    if (draw_from_hex(hex, held->bound) != 0) {
        return error_set(all->error, ERROR_FORMAT, "%s: nothing binds its seed", held->id);
    }
    return plan_parse(held->plan_text, strlen(held->plan_text), held->id, &held->plan, all->error);
}

/* Windows are numbered as they were drawn; which question they belong to comes from the drawing. */
static void take_window(struct held *held, const struct question_step *step)
{
    if (held->window_count < DRAW_WINDOWS_MAX) {
        held->windows[held->window_count++] =
            (struct score_window){.asked = step->said.what == QUESTION_ASKED,
                                  .question = SIZE_MAX,
                                  .start_ns = step->time_ns,
                                  .end_ns = step->time_ns + step->said.length_ns};
    }
}

static int take_step(void *context, const struct question_step *step)
{
    struct gathering *all = context;
    struct held *held = find(all, step->said.session);
    if (step->said.what == QUESTION_PLAN && !held) {
        return take_plan(all, &step->said);
    }
    if (!held) {
        return 0; /* of a session that began in no night of ours */
    }
    switch (step->said.what) {
    case QUESTION_ASKED:
    case QUESTION_SILENT:
        take_window(held, step);
        break;
    case QUESTION_END:
        held->seed_told = draw_from_hex(step->said.text, held->seed) == 0;
        break;
    case QUESTION_BROKEN:
        (void)snprintf(held->broken, sizeof held->broken, "%.255s", step->said.text);
        break;
    case QUESTION_PLAN:
    case QUESTION_WHAT_COUNT:
        break;
    }
    return 0;
}

/* Gives each window its question by the seed's drawing, and tells whether they came as drawn. A
 * session without a seed is scored with its questions in the plan's order. */
static bool match_drawing(struct held *held)
{
    struct draw_window drawn[DRAW_WINDOWS_MAX];
    size_t nth_of_kind[2] = {0, 0};
    bool holds = held->seed_told && held->window_count == 2 * held->plan->question_count;
    if (held->seed_told) {
        draw_windows(held->seed, held->plan, drawn);
    }
    for (size_t i = 0; i < held->window_count; i++) {
        struct score_window *window = &held->windows[i];
        bool as_drawn = held->seed_told && i < 2 * held->plan->question_count &&
                        drawn[i].asked == window->asked;
        holds = holds && as_drawn;
        window->question = as_drawn ? drawn[i].question
                                    : nth_of_kind[window->asked]++ % held->plan->question_count;
    }
    return holds;
}

static int note_ordinary(void *context, const struct coincidence *coincidence)
{
    struct gathering *all = context;
    if (coincidence->verdict.cause == CAUSE_UNEXPLAINED && coincidence->mark_id == 0) {
        return 0;
    }
    size_t wanted = all->ordinary_count + coincidence->member_count;
    if (wanted > all->ordinary_size) {
        size_t size = 2 * wanted;
        int64_t *grown = realloc(all->ordinary, size * sizeof *grown);
        if (!grown) {
            return error_set(all->error, ERROR_MEMORY, "answers: out of memory");
        }
        all->ordinary = grown;
        all->ordinary_size = size;
    }
    for (size_t i = 0; i < coincidence->member_count; i++) {
        all->ordinary[all->ordinary_count++] = coincidence->members[i].id;
    }
    return 0;
}

static int compare_ids(const void *a, const void *b)
{
    int64_t x = *(const int64_t *)a;
    int64_t y = *(const int64_t *)b;
    return (x > y) - (x < y);
}

static int compare_onsets(const void *a, const void *b)
{
    const struct score_onset *x = a;
    const struct score_onset *y = b;
    return (x->time_ns > y->time_ns) - (x->time_ns < y->time_ns);
}

static bool node_counts(const struct gathering *all, uint32_t node)
{
    const struct question_plan *plan = all->now->plan;
    for (size_t i = 0; i < plan->node_count; i++) {
        if (node < all->site->node_count &&
            strcmp(all->site->nodes[node].id, plan->nodes[i]) == 0) {
            return true;
        }
    }
    return plan->node_count == 0;
}

static int take_disturbance(void *context, const struct disturbance *disturbance)
{
    struct gathering *all = context;
    const struct question_plan *plan = all->now->plan;
    uint32_t quantity = 0;
    while (quantity < plan->quantity_count &&
           strcmp(plan->quantities[quantity], disturbance->quantity_text) != 0) {
        quantity++;
    }
    if (quantity == plan->quantity_count || !node_counts(all, disturbance->node)) {
        return 0;
    }
    if (all->onset_count == all->onset_size) {
        size_t size = all->onset_size ? 2 * all->onset_size : 256;
        struct score_onset *grown = realloc(all->onsets, size * sizeof *grown);
        if (!grown) {
            return error_set(all->error, ERROR_MEMORY, "answers: out of memory");
        }
        all->onsets = grown;
        all->onset_size = size;
    }
    all->onsets[all->onset_count++] = (struct score_onset){
        .time_ns = disturbance->onset_ns,
        .ordinary =
            all->ordinary_count > 0 && bsearch(&disturbance->id, all->ordinary, all->ordinary_count,
                                               sizeof *all->ordinary, compare_ids) != NULL,
        .quantity = quantity,
    };
    return 0;
}

static int count_gap(void *context, const struct gap *gap)
{
    struct gathering *all = context;
    for (size_t i = 0; i < all->now->window_count; i++) {
        const struct score_window *window = &all->now->windows[i];
        if (gap->start_ns < window->end_ns && window->start_ns < gap->end_ns &&
            node_counts(all, gap->node)) {
            all->broken_windows++;
        }
    }
    return 0;
}

static bool seed_holds(const struct held *held)
{
    uint8_t bound[DRAW_SEED_SIZE];
    draw_bind(held->seed, held->plan_text, strlen(held->plan_text), bound);
    return held->seed_told && memcmp(bound, held->bound, sizeof bound) == 0;
}

static void score_pattern(struct gathering *all, const struct held *held, size_t question)
{
    const int64_t quiet_ns = all->info.start_ns + (int64_t)(all->site->baseline_s * NS_PER_S);
    struct answers_pattern *pattern = &all->answers.patterns[question];
    for (size_t i = 0; i < held->window_count; i++) {
        const struct score_window *window = &held->windows[i];
        if (window->asked && window->question == question) {
            pattern->held = true;
            pattern->came = score_count(all->onsets, all->onset_count, window->start_ns,
                                        window->end_ns, SCORE_ALL, SCORE_ANY_QUANTITY);
        }
    }
    pattern->rest = score_background(held->plan, question, held->windows, held->window_count,
                                     all->onsets, all->onset_count, quiet_ns, all->info.end_ns);
}

static void score_all(struct gathering *all, const struct held *held)
{
    struct answers *answers = &all->answers;
    const struct question_plan *plan = held->plan;
    score_session(plan, held->windows, held->window_count, all->onsets, all->onset_count, SCORE_ALL,
                  SCORE_ANY_QUANTITY, &answers->all);
    score_session(plan, held->windows, held->window_count, all->onsets, all->onset_count,
                  SCORE_WITHOUT_ORDINARY, SCORE_ANY_QUANTITY, &answers->without_ordinary);
    for (uint32_t i = 0; i < plan->quantity_count; i++) {
        score_session(plan, held->windows, held->window_count, all->onsets, all->onset_count,
                      SCORE_WITHOUT_ORDINARY, i, &answers->by_quantity[i]);
    }
    for (size_t i = 0; i < plan->question_count; i++) {
        if (plan->questions[i].pattern > 0) {
            score_pattern(all, held, i);
        }
    }
}

static int write_session(struct gathering *all, size_t nth, FILE *out)
{
    struct held *held = all->held[nth];
    struct text text = {0};
    bool drawn = match_drawing(held);
    all->now = held;
    all->onset_count = 0;
    all->broken_windows = 0;
    if (night_each_disturbance(all->reader, 0, take_disturbance, all, all->error) != 0 ||
        night_each_gap(all->reader, count_gap, all, all->error) != 0) {
        return -1;
    }
    if (all->onset_count > 0) {
        qsort(all->onsets, all->onset_count, sizeof *all->onsets, compare_onsets);
    }
    if (held->broken[0] == '\0' && !held->seed_told) {
        (void)snprintf(held->broken, sizeof held->broken, "its end was never told");
    }
    memset(&all->answers, 0, sizeof all->answers);
    all->answers.plan = held->plan;
    all->answers.session = held->id;
    all->answers.nth = (uint32_t)nth + 1;
    all->answers.sessions = (uint32_t)all->held_count;
    all->answers.broken = held->broken[0] ? held->broken : NULL;
    all->answers.seed_holds = seed_holds(held);
    all->answers.drawn_holds = drawn;
    all->answers.windows_with_gaps = all->broken_windows;
    score_all(all, held);
    answers_write(&all->answers, &text);
    int result = text.failed ? error_set(all->error, ERROR_MEMORY, "answers: out of memory") : 0;
    if (result == 0) {
        fprintf(out, "%s\n", text.bytes);
    }
    text_free(&text);
    return result;
}

static void gathering_free(struct gathering *all)
{
    for (size_t i = 0; i < all->held_count; i++) {
        free(all->held[i]->plan);
        free(all->held[i]->plan_text);
        free(all->held[i]);
    }
    site_free(all->site);
    free(all->onsets);
    free(all->ordinary);
    free(all);
}

static int gather(struct gathering *all)
{
    if (night_read_info(all->reader, &all->info, all->error) != 0 ||
        night_read_site(all->reader, 0, &all->site, all->error) != 0 ||
        night_each_question(all->reader, take_step, all, all->error) != 0 ||
        night_each_coincidence(all->reader, 0, note_ordinary, all, all->error) != 0) {
        return -1;
    }
    if (all->ordinary_count > 0) {
        qsort(all->ordinary, all->ordinary_count, sizeof *all->ordinary, compare_ids);
    }
    return all->held_count > 0 ? 0
                               : error_set(all->error, ERROR_NOT_FOUND,
                                           "no question session was held in this night");
}

int answers_night_write(struct night_reader *reader, const char *session, FILE *out,
                        struct error *error)
{
    struct gathering *all = calloc(1, sizeof *all);
    if (!all) {
        return error_set(error, ERROR_MEMORY, "answers: out of memory");
    }
    all->reader = reader;
    all->error = error;
    int result = gather(all);
    if (result == 0 && session && !find(all, session)) {
        result = error_set(error, ERROR_NOT_FOUND, "no session \"%s\" in this night", session);
    }
    for (size_t i = 0; result == 0 && i < all->held_count; i++) {
        if (!session || strcmp(session, all->held[i]->id) == 0) {
            result = write_session(all, i, out);
        }
    }
    gathering_free(all);
    return result;
}
