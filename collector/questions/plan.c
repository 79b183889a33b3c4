/* Reads a plan strictly, and tells what it can find.
 * Must never fill in what decides the outcome. Called by the ask and answers commands. */
#include "collector/questions/plan.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "collector/questions/exact.h"
#include "common/channel.h"
#include "common/json.h"

#define SECONDS_MIN 0.1
#define SECONDS_MAX 600.0
#define REST_DEFAULT_S 10.0
#define ASK_DEFAULT_S 8.0
#define ALPHA_DEFAULT 0.05
#define ALPHA_MAX 0.5

static int read_answer(const cJSON *object, const char *path, enum plan_answer *answer,
                       struct error *error)
{
    char word[8];
    if (json_get_text_or(object, path, "answer", "", word, sizeof word, error) != 0) {
        return -1;
    }
    *answer = strcmp(word, "yes") == 0  ? PLAN_ANSWER_YES
              : strcmp(word, "no") == 0 ? PLAN_ANSWER_NO
                                        : PLAN_ANSWER_NONE;
    return *answer == PLAN_ANSWER_NONE && word[0] != '\0'
               ? error_set(error, ERROR_FORMAT, "%s.answer: \"%s\" is not yes or no", path, word)
               : 0;
}

static int read_question(const cJSON *item, const char *name, size_t i,
                         struct plan_question *question, struct error *error)
{
    static const char *const fields[] = {"text", "pattern", "answer", NULL};
    char path[160];
    double pattern = 0;
    (void)snprintf(path, sizeof path, "%.100s: questions[%zu]", name, i);
    if (json_check_fields(item, path, fields, error) != 0 ||
        json_get_text(item, path, "text", question->text, sizeof question->text, error) != 0 ||
        json_get_number_or(item, path, "pattern", 0, PLAN_PATTERN_MAX, 0, &pattern, error) != 0 ||
        read_answer(item, path, &question->answer, error) != 0) {
        return -1;
    }
    question->pattern = (uint32_t)pattern;
    if ((double)question->pattern != pattern) {
        return error_set(error, ERROR_RANGE, "%s.pattern: not a whole number", path);
    }
    if (question->text[0] == '\0') {
        return error_set(error, ERROR_FORMAT, "%s.text: is empty", path);
    }
    return 0;
}

static int read_questions(const cJSON *root, const char *name, struct question_plan *plan,
                          struct error *error)
{
    const cJSON *list = NULL;
    const cJSON *item = NULL;
    if (json_get_array(root, name, "questions", &list, error) != 0) {
        return -1;
    }
    cJSON_ArrayForEach(item, list)
    {
        if (plan->question_count >= PLAN_QUESTIONS_MAX) {
            return error_set(error, ERROR_RANGE, "%s: questions: more than %d", name,
                             PLAN_QUESTIONS_MAX);
        }
        if (read_question(item, name, plan->question_count, &plan->questions[plan->question_count],
                          error) != 0) {
            return -1;
        }
        plan->question_count++;
    }
    return plan->question_count > 0
               ? 0
               : error_set(error, ERROR_RANGE, "%s: questions: there is none", name);
}

static int read_names(const cJSON *root, const char *name, const char *field,
                      char (*out)[IDENT_SIZE], size_t most, size_t *count, struct error *error)
{
    const cJSON *list = NULL;
    const cJSON *item = NULL;
    if (json_get_array(root, name, field, &list, error) != 0) {
        return -1;
    }
    cJSON_ArrayForEach(item, list)
    {
        if (*count >= most) {
            return error_set(error, ERROR_RANGE, "%s: %s: more than %zu", name, field, most);
        }
        if (!cJSON_IsString(item) || !ident_valid(item->valuestring, strlen(item->valuestring))) {
            return error_set(error, ERROR_FORMAT, "%s: %s[%zu]: no id ([a-z0-9-], 1 to 32)", name,
                             field, *count);
        }
        (void)snprintf(out[*count], IDENT_SIZE, "%s", item->valuestring);
        (*count)++;
    }
    return *count > 0 ? 0 : error_set(error, ERROR_RANGE, "%s: %s: is empty", name, field);
}

static int read_numbers(const cJSON *root, const char *name, struct question_plan *plan,
                        struct error *error)
{
    if (json_get_number_or(root, name, "ask_s", SECONDS_MIN, SECONDS_MAX, ASK_DEFAULT_S,
                           &plan->ask_s, error) != 0 ||
        json_get_number(root, name, "window_s", SECONDS_MIN, SECONDS_MAX, &plan->window_s, error) !=
            0 ||
        json_get_number_or(root, name, "rest_s", SECONDS_MIN, SECONDS_MAX, REST_DEFAULT_S,
                           &plan->rest_s, error) != 0 ||
        json_get_number_or(root, name, "alpha", 1e-6, ALPHA_MAX, ALPHA_DEFAULT, &plan->alpha,
                           error) != 0 ||
        json_get_number(root, name, "expect_response", 0, 1, &plan->expect_response, error) != 0 ||
        json_get_number(root, name, "expect_by_chance", 0, 1, &plan->expect_by_chance, error) !=
            0) {
        return -1;
    }
    return 0;
}

static int check_controls(const cJSON *root, const char *name, const struct question_plan *plan,
                          struct error *error)
{
    double controls = 0;
    if (json_get_number_or(root, name, "controls", 0, PLAN_QUESTIONS_MAX,
                           (double)plan->question_count, &controls, error) != 0) {
        return -1;
    }
    if (controls != (double)plan->question_count) {
        return error_set(error, ERROR_USAGE,
                         "%s: controls: %g, with %zu questions; a session needs as many windows in"
                         " which nobody asks as questions, or nothing can be told from it (leave"
                         " \"controls\" out)",
                         name, controls, plan->question_count);
    }
    return 0;
}

static int read_plan(const cJSON *root, const char *name, struct question_plan *plan,
                     struct error *error)
{
    static const char *const fields[] = {"title",    "channels",        "nodes",
                                         "ask_s",    "window_s",        "rest_s",
                                         "alpha",    "expect_response", "expect_by_chance",
                                         "controls", "questions",       NULL};
    if (json_check_fields(root, name, fields, error) != 0 ||
        json_get_text(root, name, "title", plan->title, sizeof plan->title, error) != 0 ||
        read_names(root, name, "channels", plan->quantities, PLAN_QUANTITIES_MAX,
                   &plan->quantity_count, error) != 0 ||
        (cJSON_GetObjectItemCaseSensitive(root, "nodes") &&
         read_names(root, name, "nodes", plan->nodes, PLAN_NODES_MAX, &plan->node_count, error) !=
             0)) {
        return -1;
    }
    return read_numbers(root, name, plan, error) == 0 &&
                   read_questions(root, name, plan, error) == 0 &&
                   check_controls(root, name, plan, error) == 0
               ? 0
               : -1;
}

int plan_parse(const char *text, size_t length, const char *name, struct question_plan **plan,
               struct error *error)
{
    cJSON *root = NULL;
    if (length > PLAN_TEXT_MAX) {
        return error_set(error, ERROR_RANGE, "%s: %zu bytes, at most %u are kept", name, length,
                         PLAN_TEXT_MAX);
    }
    if (json_parse(text, length, name, &root, error) != 0) {
        return -1;
    }
    struct question_plan *made = calloc(1, sizeof *made);
    int failed = made ? read_plan(root, name, made, error)
                      : error_set(error, ERROR_MEMORY, "%s: out of memory", name);
    cJSON_Delete(root);
    if (failed != 0) {
        free(made);
        return -1;
    }
    *plan = made;
    return 0;
}

static size_t find_node(const struct site *site, const char *id)
{
    size_t i = 0;
    while (i < site->node_count && strcmp(site->nodes[i].id, id) != 0) {
        i++;
    }
    return i;
}

static bool node_has(const struct site_node *node, const char *quantity)
{
    for (size_t i = 0; i < node->channel_count; i++) {
        char own[IDENT_SIZE];
        char axis[IDENT_SIZE];
        channel_name_split(node->channels[i].name, own, axis);
        if (strcmp(own, quantity) == 0) {
            return true;
        }
    }
    return false;
}

static bool any_has(const struct question_plan *plan, const struct site *site, const char *quantity)
{
    for (size_t i = 0; i < plan->node_count; i++) {
        if (node_has(&site->nodes[find_node(site, plan->nodes[i])], quantity)) {
            return true;
        }
    }
    for (size_t i = 0; plan->node_count == 0 && i < site->node_count; i++) {
        if (node_has(&site->nodes[i], quantity)) {
            return true;
        }
    }
    return false;
}

int plan_check_site(const struct question_plan *plan, const struct site *site, struct error *error)
{
    for (size_t i = 0; i < plan->node_count; i++) {
        if (find_node(site, plan->nodes[i]) == site->node_count) {
            return error_set(error, ERROR_USAGE, "nodes[%zu]: the site has no node \"%s\"", i,
                             plan->nodes[i]);
        }
    }
    for (size_t i = 0; i < plan->quantity_count; i++) {
        if (!any_has(plan, site, plan->quantities[i])) {
            return error_set(error, ERROR_USAGE,
                             "channels[%zu]: none of the nodes that count has \"%s\" (of a channel"
                             " such as magnetic.x only the part before the dot is named)",
                             i, plan->quantities[i]);
        }
    }
    return 0;
}

double plan_power(const struct question_plan *plan)
{
    uint32_t windows = (uint32_t)plan->question_count;
    return exact_power(windows, windows, plan->expect_response, plan->expect_by_chance,
                       plan->alpha);
}

void plan_say(const struct question_plan *plan, struct text *out)
{
    (void)text_append_format(
        out,
        "\"%s\": %zu questions and as many windows in which nobody asks, in an order that nobody"
        " knows.\nIf %.0f of 100 questions are answered and chance gives %.0f of 100, this session"
        " finds it %.0f times in 100.\nWhoever asks should sit as still in the windows without a"
        " question as in the others.\n",
        plan->title, plan->question_count, 100 * plan->expect_response,
        100 * plan->expect_by_chance, 100 * plan_power(plan));
}

double plan_length_s(const struct question_plan *plan)
{
    return 2.0 * (double)plan->question_count * (plan->ask_s + plan->window_s + 2.0 * plan->rest_s);
}
