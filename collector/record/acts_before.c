/* Preflight and walk test from the page: begun, looked at, left.
 * Must never begin a walk that can't be heard: its nodes would be learning. Called by acts.c. */
#include <stdio.h>
#include <string.h>

#include "collector/record/acts_inside.h"

int acts_preflight(struct acts *acts, const struct web_act *asked, struct text *said,
                   struct error *error)
{
    struct act_preflight *act = &acts->preflight;
    struct preflight_watch *watch = NULL;
    const struct preflight_wishes wishes = {.site = acts->settings.site,
                                            .night_s = asked->hours * 3600.0,
                                            .wait_s = asked->wait_s,
                                            .look_s = asked->look_s};
    if (asked->what == WEB_ACT_END) {
        act->state = act->state == ACT_RUNNING ? ACT_LEFT : act->state;
        (void)text_append_format(said, "The preflight was left off: it says nothing.");
        return 0;
    }
    if (asked->what != WEB_ACT_BEGIN) {
        return error_set(error, ERROR_USAGE, "preflight: it is begun or ended");
    }
    if (act->state == ACT_RUNNING) {
        return error_set(error, ERROR_USAGE,
                         "a preflight is under way: let it end, or leave it off first");
    }
    if (preflight_watch_new(&wishes, acts->settings.night_path, acts_now_ns(acts), &watch, error) !=
        0) {
        return -1;
    }
    preflight_watch_free(act->watch);
    *act = (struct act_preflight){.state = ACT_RUNNING, .watch = watch};
    preflight_watch_say(watch, said);
    return 0;
}

static int read_way(const struct acts *acts, const struct web_act *asked,
                    struct walk_wishes *wishes, struct error *error)
{
    for (size_t i = 0; i < asked->room_count; i++) {
        size_t room = site_find_room(acts->settings.site, asked->rooms[i]);
        if (room == SIZE_MAX) {
            return error_set(error, ERROR_USAGE, "rooms: \"%s\" is no room of the site file",
                             asked->rooms[i]);
        }
        wishes->rooms[wishes->room_count++] = room;
    }
    return 0;
}

static int begin_walk(struct acts *acts, const struct web_act *asked, struct error *error)
{
    struct act_walk *act = &acts->walk;
    struct walk_watch *watch = NULL;
    struct walk_wishes wishes = {
        .site = acts->settings.site, .quiet_s = asked->quiet_s, .limit_s = asked->limit_s};
    const struct message_baseline order = {.length_ns = (int64_t)(asked->quiet_s * 1e9)};
    if (read_way(acts, asked, &wishes, error) != 0 || acts_refuse_session(acts, error) != 0 ||
        walk_watch_new(&wishes, acts->settings.night_path, acts_now_ns(acts), &watch, error) != 0) {
        return -1;
    }
    if (asked->quiet_s > 0.0 && acts->settings.quiet(acts->settings.context, &order, error) != 0) {
        walk_watch_free(watch);
        return -1;
    }
    walk_watch_free(act->watch);
    *act = (struct act_walk){.state = ACT_RUNNING, .watch = watch, .wishes = wishes};
    return 0;
}

int acts_walk(struct acts *acts, const struct web_act *asked, struct text *said,
              struct error *error)
{
    struct act_walk *act = &acts->walk;
    if (asked->what == WEB_ACT_END) {
        act->state = act->state == ACT_RUNNING ? ACT_LEFT : act->state;
        (void)text_append_format(said, "The walk was left off: it says nothing.");
        return 0;
    }
    if (asked->what != WEB_ACT_BEGIN) {
        return error_set(error, ERROR_USAGE, "walk: it is begun or ended");
    }
    if (act->state == ACT_RUNNING) {
        return error_set(error, ERROR_USAGE,
                         "a walk test is under way: let it end, or leave it off first");
    }
    if (begin_walk(acts, asked, error) != 0) {
        return -1;
    }
    walk_watch_say(act->watch, said);
    return 0;
}

void acts_before_look(struct acts *acts)
{
    struct act_look *look = &acts->look;
    if (look->preflight) {
        (void)preflight_watch_look(acts->preflight.watch, look->now_ns, &look->preflight_error);
    }
    if (look->walk) {
        (void)walk_watch_look(acts->walk.watch, look->now_ns, &look->walk_error);
    }
}

void acts_before_back(struct acts *acts)
{
    struct act_look *look = &acts->look;
    struct act_preflight *preflight = &acts->preflight;
    struct act_walk *walk = &acts->walk;
    if (look->preflight && preflight->state == ACT_RUNNING) {
        bool failed = look->preflight_error.code != ERROR_NONE;
        preflight->error = look->preflight_error;
        preflight->state = failed                                      ? ACT_FAILED
                           : preflight_watch_is_over(preflight->watch) ? ACT_OVER
                                                                       : ACT_RUNNING;
    }
    if (look->walk && walk->state == ACT_RUNNING) {
        bool failed = look->walk_error.code != ERROR_NONE;
        walk->error = look->walk_error;
        walk->state = failed                                       ? ACT_FAILED
                      : walk_watch_stage(walk->watch) == WALK_OVER ? ACT_OVER
                                                                   : ACT_RUNNING;
    }
}

void acts_before_free(struct acts *acts)
{
    preflight_watch_free(acts->preflight.watch);
    walk_watch_free(acts->walk.watch);
    acts->preflight.watch = NULL;
    acts->walk.watch = NULL;
    acts->preflight.state = ACT_NONE;
    acts->walk.state = ACT_NONE;
}
