/* What comes back at the same clock time, or in the same hour: each kind of finding, and each
 * appliance. Must never ask more questions than it corrects for. Called by compare_say.c. */
#include <stdlib.h>
#include <string.h>

#include "collector/compare/rates.h"
#include "collector/record/compare_say.h"

#define APPLIANCES_MOST 8
#define QUESTIONS_MAX (2 * (CAUSE_COUNT + APPLIANCES_MOST))
_Static_assert(QUESTIONS_MAX <= RATES_HOLM_MAX, "corrected all at once");

struct question {
    enum cause_kind cause;
    int group;           /* -1: all of the cause */
    size_t group_number; /* as "Appliances" counts them, from 1 */
    double window_s;
    struct turned_result found;
};

struct asking {
    const struct compare_book *book;
    size_t count;
    struct question questions[QUESTIONS_MAX];
    double p_values[QUESTIONS_MAX];
};

static bool belongs(const struct compare_book *book, const struct question *question,
                    const struct compare_event *event)
{
    if (!event->counts || event->cause != question->cause) {
        return false;
    }
    return question->group < 0 ||
           (event->step != SIZE_MAX && book->steps[event->step].group == question->group);
}

/* Whether it was seen in two nights at least: else there is nothing to ask. */
static bool worth_asking(const struct compare_book *book, const struct question *question)
{
    size_t nights = 0;
    for (size_t i = 0; i < book->night_count; i++) {
        bool seen = false;
        for (size_t j = 0; j < book->nights[i].event_count && !seen; j++) {
            seen = belongs(book, question, &book->nights[i].events[j]);
        }
        nights += seen;
    }
    return nights >= 2;
}

static int ask(struct asking *asking, struct question *question, struct error *error)
{
    const struct compare_book *book = asking->book;
    struct turned_night nights[TURNED_NIGHTS_MAX];
    size_t most = 0;
    size_t used = 0;
    for (size_t i = 0; i < book->night_count; i++) {
        most += book->nights[i].event_count;
    }
    double *after_s = calloc(most + 1, sizeof *after_s);
    if (!after_s) {
        return error_set(error, ERROR_MEMORY, "compare: out of memory");
    }
    for (size_t i = 0; i < book->night_count; i++) {
        const struct compare_night *night = &book->nights[i];
        nights[i] =
            (struct turned_night){night->start_clock_s, night->watched_s, after_s + used, 0};
        for (size_t j = 0; j < night->event_count; j++) {
            if (belongs(book, question, &night->events[j])) {
                after_s[used++] = night->events[j].after_s;
                nights[i].count++;
            }
        }
    }
    int result =
        turned_test(nights, book->night_count, question->window_s, &question->found, error);
    free(after_s);
    return result;
}

static int ask_both(struct asking *asking, const struct question *question, struct error *error)
{
    static const double windows_s[] = {COMPARE_CLOCK_S, COMPARE_HOUR_S};
    for (size_t i = 0; i < 2 && worth_asking(asking->book, question); i++) {
        struct question *one = &asking->questions[asking->count];
        *one = *question;
        one->window_s = windows_s[i];
        if (ask(asking, one, error) != 0) {
            return -1;
        }
        asking->p_values[asking->count++] = one->found.p_value;
    }
    return 0;
}

static int ask_all(struct asking *asking, struct error *error)
{
    uint32_t counts[TURNED_NIGHTS_MAX];
    size_t number = 0;
    for (int cause = 0; cause < CAUSE_COUNT; cause++) {
        const struct question question = {.cause = (enum cause_kind)cause, .group = -1};
        if (cause != CAUSE_TEAM && ask_both(asking, &question, error) != 0) {
            return -1;
        }
    }
    for (size_t group = 0; group < asking->book->appliances && number < APPLIANCES_MOST; group++) {
        if (compare_count_appliance(asking->book, (int)group, counts) < 2) {
            continue;
        }
        const struct question question = {
            .cause = CAUSE_MAINS_SWITCHING, .group = (int)group, .group_number = ++number};
        if (ask_both(asking, &question, error) != 0) {
            return -1;
        }
    }
    rates_holm(asking->p_values, asking->count);
    return 0;
}

static void say_clock(double clock_s, FILE *out)
{
    long seconds = (long)clock_s;
    fprintf(out, "%02ld:%02ld:%02ld", seconds / 3600 % 24, seconds / 60 % 60, seconds % 60);
}

static void say_question(const struct question *question, FILE *out)
{
    if (question->group >= 0) {
        fprintf(out, "  appliance %zu", question->group_number);
    } else {
        fprintf(out, "  %s", cause_text(question->cause));
    }
    fprintf(out, question->window_s > COMPARE_CLOCK_S ? ", same hour: " : ", same clock time: ");
}

static void say_answer(const struct compare_book *book, const struct question *question,
                       double p_value, FILE *out)
{
    const struct turned_result *found = &question->found;
    char chance[COMPARE_CHANCE_SIZE];
    compare_chance(p_value, chance);
    say_question(question, out);
    if (found->nights < 2) {
        fprintf(out, "in no two nights\n");
        return;
    }
    fprintf(out, "in %zu of %zu nights, ", found->nights, book->night_count);
    say_clock(found->from_clock_s, out);
    fprintf(out, " to ");
    say_clock(found->to_clock_s, out);
    if (p_value > COMPARE_CLAIM) {
        fprintf(out, ": no more than chance makes it\n");
        return;
    }
    fprintf(out, ": BY THE CLOCK, since chance does that %s", chance);
    fprintf(out,
            question->window_s > COMPARE_CLOCK_S
                ? "\n    Ask what is done in the building in that hour every night.\n"
                : "\n    Look for a timer: heating, water, lamps, a charger, what the neighbours"
                  " have.\n");
}

int compare_say_clock(const struct compare_book *book, FILE *out, struct error *error)
{
    struct asking *asking = calloc(1, sizeof *asking);
    if (!asking) {
        return error_set(error, ERROR_MEMORY, "compare: out of memory");
    }
    asking->book = book;
    int result = ask_all(asking, error);
    if (result == 0) {
        fprintf(out, "\nThe same clock time (within %.0f minutes), the same hour?\n",
                COMPARE_CLOCK_S / 60.0);
        for (size_t i = 0; i < asking->count; i++) {
            say_answer(book, &asking->questions[i], asking->p_values[i], out);
        }
        if (asking->count == 0) {
            fprintf(out, "  No kind of finding came in two nights: there is nothing to compare.\n");
        } else {
            fprintf(
                out,
                "  %zu such questions were asked; the chances are corrected for that. Chance:"
                " each night turned\n  round within itself by random amounts, up to %d times.\n",
                asking->count, TURNED_TIMES);
        }
    }
    free(asking);
    return result;
}
