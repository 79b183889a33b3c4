/* Looks whether a new fit could matter to any onset; then a new analysis, or the old one again.
 * Must never leave an analysis half done. Called by session.c. */
#include "collector/record/final_fit.h"

#include <stdlib.h>

#include "collector/night/reader.h"
#include "collector/night/writer.h"
#include "collector/record/analyse.h"
#include "collector/record/refit.h"

/* Parts of an onset's own uncertainty: a move by a tenth changes no order that could be told, and
 * a clock of less than a third of it adds less than 5 % (both add as squares). */
#define MOVE_PART 10
#define CLOCK_PART 3

struct weigh {
    const struct refit *refit;
    bool matters;
};

static int weigh_one(void *context, const struct disturbance *disturbance)
{
    struct weigh *weigh = context;
    const struct refit_change *change = refit_get_change(weigh->refit, disturbance->node);
    int64_t sd_ns = disturbance_onset_sd_ns(disturbance);
    if (change->exchanges > 0 && (llabs(change->most_ns) > sd_ns / MOVE_PART ||
                                  disturbance->clock_sd_ns > sd_ns / CLOCK_PART)) {
        weigh->matters = true;
    }
    return 0;
}

/* ---- the findings as they stand, under another number ---- */

struct copy {
    struct night_writer *writer;
    int number;
    struct error *error;
};

/* Whether a put that failed is to be tried again. */
static bool may_try_again(const struct copy *copy)
{
    return copy->error->code == ERROR_FULL && night_writer_flush(copy->writer, copy->error) == 0;
}

static int copy_disturbance(void *context, const struct disturbance *disturbance)
{
    const struct copy *copy = context;
    while (night_put_disturbance(copy->writer, copy->number, disturbance, copy->error) != 0) {
        if (!may_try_again(copy)) {
            return -1;
        }
    }
    return 0;
}

static int copy_coincidence(void *context, const struct coincidence *coincidence)
{
    const struct copy *copy = context;
    while (night_put_coincidence(copy->writer, copy->number, coincidence, copy->error) != 0) {
        if (!may_try_again(copy)) {
            return -1;
        }
    }
    return 0;
}

static int copy_notice(void *context, uint32_t node, const char *quantity, int64_t time_ns,
                       const char *text)
{
    const struct copy *copy = context;
    while (night_put_notice(copy->writer, copy->number, node, quantity, time_ns, text,
                            copy->error) != 0) {
        if (!may_try_again(copy)) {
            return -1;
        }
    }
    return 0;
}

static int copy_all(struct night_reader *reader, const struct site *site, const struct refit *refit,
                    struct copy *copy)
{
    if (night_put_analysis(copy->writer, copy->number, site, NIGHT_WHY_FITTED_AGAIN, copy->error) !=
        0) {
        return -1;
    }
    for (uint32_t node = 0; node < site->node_count; node++) {
        char text[REFIT_TEXT_SIZE];
        refit_say_change(refit, node, text);
        if (copy_notice(copy, node, REFIT_QUANTITY, refit_get_change(refit, node)->most_at_ns,
                        text) != 0) {
            return -1;
        }
    }
    return night_each_notice(reader, 0, copy_notice, copy, copy->error) != 0 ||
                   night_each_disturbance(reader, 0, copy_disturbance, copy, copy->error) != 0 ||
                   night_each_coincidence(reader, 0, copy_coincidence, copy, copy->error) != 0
               ? -1
               : 0;
}

static int keep_findings(const char *path, struct night_reader *reader, const struct site *site,
                         const struct refit *refit, struct final_fit *end, struct error *error)
{
    struct copy copy = {.error = error};
    if (night_writer_open_for_analysis(path, &copy.number, &copy.writer, error) != 0) {
        return -1;
    }
    if (copy_all(reader, site, refit, &copy) != 0) {
        night_writer_abandon(copy.writer);
        return -1;
    }
    end->analysis = copy.number;
    return night_writer_close(copy.writer, 0, error);
}

/* ---- what others call ---- */

static bool has_exchanges(const struct refit *refit, const struct site *site)
{
    for (uint32_t node = 0; node < site->node_count; node++) {
        if (refit_get_change(refit, node)->exchanges > 0) {
            return true;
        }
    }
    return false;
}

static int look(const char *path, struct night_reader *reader, const struct site *site,
                struct final_fit *end, struct error *error)
{
    struct refit *refit = NULL;
    if (refit_new(reader, site, &refit, error) != 0) {
        return -1;
    }
    struct weigh weigh = {.refit = refit};
    int result = night_each_disturbance(reader, 0, weigh_one, &weigh, error);
    bool any = has_exchanges(refit, site);
    end->most_ns = refit_most_ns(refit);
    end->stands = !weigh.matters;
    if (result == 0 && any && end->stands) {
        result = keep_findings(path, reader, site, refit, end, error);
    }
    refit_free(refit);
    return result != 0 || !any ? result
           : end->stands       ? 0
                         : analyse_night_refitted(path, NULL, NIGHT_WHY_FITTED_AGAIN, NULL, NULL,
                                                  &end->analysis, error);
}

int final_fit_make(const char *path, struct final_fit *end, struct error *error)
{
    struct night_reader *reader = NULL;
    struct site *site = NULL;
    *end = (struct final_fit){0};
    if (night_reader_open(path, &reader, error) != 0) {
        return -1;
    }
    int result = night_read_site(reader, 0, &site, error);
    if (result == 0) {
        result = look(path, reader, site, end, error);
    }
    site_free(site);
    night_reader_close(reader);
    return result;
}
