/* Analyses, disturbances and coincidences into the night, whole: each reads back as it was put.
 * Must never judge a finding. Called by store.c. */
#include "collector/night/store.h"

#include "collector/night/sql.h"

int store_analysis(struct store *store, int analysis, const struct job_analysis *row,
                   struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, STORE_ANALYSIS, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, analysis);
    sql_put_text(&args, row->why);
    sql_put_real(&args, row->mains_hz);
    sql_put_real(&args, row->baseline_s);
    sql_put_real(&args, row->false_onsets_per_hour);
    sql_put_real(&args, row->alert_limit_per_night);
    sql_put_real(&args, row->order_confidence);
    return sql_run(&args, error);
}

/* The columns in the order of the table. */
int store_disturbance(struct store *store, int analysis, enum store_sql which,
                      const struct disturbance *d, struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, which, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, analysis);
    sql_put_int(&args, d->id);
    sql_put_int(&args, d->node);
    sql_put_text(&args, d->quantity_text);
    sql_put_text(&args, d->band == BAND_MAINS ? "mains" : "rest");
    sql_put_text(&args, d->unit);
    sql_put_int(&args, d->onset_ns);
    sql_put_int(&args, d->pick_sd_ns);
    sql_put_int(&args, d->sampling_sd_ns);
    sql_put_int(&args, d->clock_sd_ns);
    sql_put_int(&args, d->end_ns);
    sql_put_int(&args, d->closed_ns);
    sql_put_int(&args, d->peak_ns);
    sql_put_real(&args, d->peak_value);
    sql_put_real(&args, d->peak_score);
    sql_put_real(&args, d->baseline_value);
    sql_put_real(&args, d->baseline_scale);
    sql_put_real(&args, d->threshold);
    sql_put_real(&args, d->settle_peak_score);
    sql_put_real(&args, d->settle_step);
    sql_put_real(&args, d->mains_before);
    sql_put_real(&args, d->mains_after);
    sql_put_int(&args, d->one_sample);
    sql_put_int(&args, d->clipped);
    sql_put_int(&args, d->returned);
    sql_put_int(&args, d->calibrated);
    for (size_t axis = 0; axis < 3; axis++) {
        sql_put_real(&args, d->peak_axes[axis]);
    }
    sql_put_real(&args, d->repeat_hz);
    sql_put_real(&args, d->rise_s);
    sql_put_real(&args, d->half_s);
    sql_put_real(&args, d->left_value);
    for (size_t axis = 0; axis < 3; axis++) {
        sql_put_real(&args, d->left_axes[axis]);
    }
    sql_put_real(&args, d->previous_s);
    sql_put_real(&args, d->tick_s);
    sql_put_int(&args, d->ticks);
    sql_put_real(&args, d->along_score);
    sql_put_real(&args, d->across_score);
    sql_put_real(&args, d->across_least);
    sql_put_real(&args, d->alike);
    return sql_run(&args, error);
}

static void put_known(struct sql_args *args, bool known, const double *values, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (known) {
            sql_put_real(args, values[i]);
        } else {
            sql_put_null(args);
        }
    }
}

static int store_coincidence_row(struct store *store, int analysis, const struct coincidence *c,
                                 struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, STORE_COINCIDENCE, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_int(&args, analysis);
    sql_put_int(&args, c->id);
    sql_put_text(&args, coincidence_kind_text(c->kind));
    sql_put_int(&args, c->start_ns);
    sql_put_int(&args, c->end_ns);
    sql_put_int(&args, (int64_t)c->dropped_members);
    sql_put_int(&args, (int64_t)c->witness_count);
    sql_put_int(&args, (int64_t)c->node_count);
    sql_put_int(&args, c->control_took_part);
    sql_put_int(&args, c->first_known);
    sql_put_int(&args, c->together);
    const double speeds[] = {c->speed.value_m_s, c->speed.low_m_s, c->speed.high_m_s};
    put_known(&args, c->speed.known, speeds, 3);
    sql_put_text(&args, cause_text(c->verdict.cause));
    sql_put_real(&args, c->chance.per_night);
    sql_put_real(&args, c->chance.p_value);
    sql_put_text(&args, chance_method_text(c->chance.method));
    if (c->mark_id != 0) {
        sql_put_int(&args, c->mark_id);
    } else {
        sql_put_null(&args);
    }
    sql_put_int(&args, c->final);
    sql_put_int(&args, c->alert);
    const double place[] = {c->source.x_m,     c->source.y_m,     c->source.sd_m,
                            c->source.major_m, c->source.minor_m, c->source.major_deg};
    put_known(&args, c->source.known, place, 6);
    return sql_run(&args, error);
}

int store_chance(struct store *store, int analysis, const struct job_chance *row,
                 struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, STORE_CHANCE, error));
    if (!args.statement) {
        return -1;
    }
    sql_put_real(&args, row->chance.per_night);
    sql_put_real(&args, row->chance.p_value);
    sql_put_text(&args, chance_method_text(row->chance.method));
    sql_put_int(&args, analysis);
    sql_put_int(&args, row->coincidence_id);
    return sql_run(&args, error);
}

/* Begins a row of a coincidence's list, or the order to forget the list (place SIZE_MAX). */
static struct sql_args list_args(struct store *store, enum store_sql which, int analysis,
                                 int64_t id, size_t place, struct error *error)
{
    struct sql_args args = sql_args(store_statement(store, which, error));
    if (args.statement) {
        sql_put_int(&args, analysis);
        sql_put_int(&args, id);
        if (place != SIZE_MAX) {
            sql_put_int(&args, (int64_t)place + 1);
        }
    }
    return args;
}

static int forget_lists(struct store *store, int analysis, int64_t id, struct error *error)
{
    static const enum store_sql lists[] = {STORE_FORGET_MEMBERS, STORE_FORGET_ORDER,
                                           STORE_FORGET_PATH, STORE_FORGET_REASONS};
    for (size_t i = 0; i < sizeof lists / sizeof *lists; i++) {
        struct sql_args args = list_args(store, lists[i], analysis, id, SIZE_MAX, error);
        if (!args.statement || sql_run(&args, error) != 0) {
            return -1;
        }
    }
    return 0;
}

/* A member that was not put on its own before is stored with its coincidence. */
static int store_members(struct store *store, int analysis, const struct coincidence *c,
                         struct error *error)
{
    for (size_t i = 0; i < c->member_count; i++) {
        struct sql_args args = list_args(store, STORE_MEMBER, analysis, c->id, i, error);
        if (!args.statement) {
            return -1;
        }
        sql_put_int(&args, c->members[i].id);
        if (sql_run(&args, error) != 0 ||
            store_disturbance(store, analysis, STORE_MEMBER_DISTURBANCE, &c->members[i], error) !=
                0) {
            return -1;
        }
    }
    return 0;
}

static int store_order(struct store *store, int analysis, const struct coincidence *c,
                       struct error *error)
{
    for (size_t i = 0; i < c->order_count; i++) {
        struct sql_args args = list_args(store, STORE_ORDER, analysis, c->id, i, error);
        if (!args.statement) {
            return -1;
        }
        sql_put_int(&args, c->order[i].node);
        sql_put_int(&args, c->order[i].onset_ns);
        sql_put_int(&args, c->order[i].onset_sd_ns);
        sql_put_real(&args, c->order[i].first_probability);
        if (sql_run(&args, error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int store_path(struct store *store, int analysis, const struct coincidence *c,
                      struct error *error)
{
    for (size_t i = 0; i < c->path_count; i++) {
        struct sql_args args = list_args(store, STORE_PATH, analysis, c->id, i, error);
        if (!args.statement) {
            return -1;
        }
        sql_put_int(&args, c->path[i].room);
        sql_put_int(&args, c->path[i].time_ns);
        if (sql_run(&args, error) != 0) {
            return -1;
        }
    }
    return 0;
}

static int store_reasons(struct store *store, int analysis, const struct coincidence *c,
                         struct error *error)
{
    for (size_t i = 0; i < c->verdict.reason_count; i++) {
        struct sql_args args = list_args(store, STORE_REASON, analysis, c->id, i, error);
        if (!args.statement) {
            return -1;
        }
        sql_put_text(&args, c->verdict.reasons[i]);
        if (sql_run(&args, error) != 0) {
            return -1;
        }
    }
    return 0;
}

int store_coincidence(struct store *store, int analysis, const struct coincidence *coincidence,
                      struct error *error)
{
    if (store_coincidence_row(store, analysis, coincidence, error) != 0 ||
        forget_lists(store, analysis, coincidence->id, error) != 0 ||
        store_members(store, analysis, coincidence, error) != 0 ||
        store_order(store, analysis, coincidence, error) != 0 ||
        store_path(store, analysis, coincidence, error) != 0) {
        return -1;
    }
    return store_reasons(store, analysis, coincidence, error);
}
