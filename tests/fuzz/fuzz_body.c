/* Any bytes as the body of a page's request (pairing, a mark, an act, a plan): what keeps its
 * bounds, or an error in words. Must never be linked into a product; libFuzzer calls it. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "collector/record/page_plan.h"
#include "collector/web/body.h"
#include "common/utf8.h"

#define NS_PER_SECOND INT64_C(1000000000)
#define DAY_S 86400

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void require(int holds)
{
    if (!holds) {
        abort();
    }
}

static void check_mark(const struct message_mark *mark, double ago_s)
{
    require(mark->what < MARK_WHAT_COUNT && mark->number >= 0);
    require((mark->what == MARK_NEW) == (mark->number == 0));
    require(mark->what != MARK_NEW || mark->text[0]);
    require(ago_s >= 0 && ago_s <= DAY_S);
    require(mark->length_ns >= 0 && mark->length_ns <= DAY_S * NS_PER_SECOND);
    require(!mark->room[0] || ident_valid(mark->room, strlen(mark->room)));
    require(!mark->who[0] || ident_valid(mark->who, strlen(mark->who)));
    require(utf8_valid(mark->text, strlen(mark->text)));
}

static void check_act(struct web_act *act)
{
    require(act->kind < WEB_ACT_COUNT && act->what < WEB_ACT_WHAT_COUNT);
    require(act->hours >= 0.1 && act->hours <= 1000 && act->quiet_s >= 0 && act->quiet_s <= 600);
    require(act->for_s == 0 || (act->for_s >= 20 && act->for_s <= DAY_S));
    require(act->room_count <= SITE_ROOMS_MAX);
    for (size_t i = 0; i < act->room_count; i++) {
        require(ident_valid(act->rooms[i], strlen(act->rooms[i])));
    }
    web_act_clear(act);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct text body = {0};
    struct message_mark mark;
    struct web_act act;
    struct error error = {0};
    char code[WEB_GUESS_SIZE];
    double ago_s = 0;
    if (size == 0) {
        return 0; /* routes.c answers it */
    }
    require(text_append(&body, (const char *)data, size) == 0);
    if (web_body_pairing(&body, code, &error) == 0) {
        require(strnlen(code, sizeof code) < sizeof code);
    } else {
        require(error.code != ERROR_NONE && error.text[0]);
    }
    memset(&error, 0, sizeof error);
    if (web_body_mark(&body, &mark, &ago_s, &error) == 0) {
        check_mark(&mark, ago_s);
    } else {
        require(error.code != ERROR_NONE && error.text[0]);
    }
    memset(&error, 0, sizeof error);
    if (web_body_act(&body, &act, &error) == 0) {
        check_act(&act);
    } else {
        require(error.code != ERROR_NONE && error.text[0]);
    }
    memset(&error, 0, sizeof error);
    if (page_plan_save(NULL, body.bytes, body.length, true, &error) != 0) {
        require(strncmp(error.text, "plan: ", 6) == 0);
    }
    text_free(&body);
    return 0;
}
