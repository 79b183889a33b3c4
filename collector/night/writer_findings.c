/* Clocks, gaps, marks, findings and words that may be put into a night: checked, copied, queued.
 * Must never wait for the disk. Called from the loop's thread and from import and re-analysis. */
#include "collector/night/writer_internal.h"

#include <stdlib.h>
#include <string.h>

int night_put_clock(struct night_writer *writer, uint32_t node, int64_t time_ns,
                    int64_t clock_sd_ns, struct error *error)
{
    if (writer_check_recording(writer, node, error) != 0) {
        return -1;
    }
    struct job *job = job_new(JOB_CLOCK, 0);
    if (job) {
        job->clock = (struct job_clock){node, time_ns, clock_sd_ns};
    }
    return writer_add(writer, job, error);
}

int night_put_gap(struct night_writer *writer, const struct gap *gap, struct error *error)
{
    if (writer_check_recording(writer, gap->node, error) != 0) {
        return -1;
    }
    struct job *job = job_new(JOB_GAP, 0);
    if (job) {
        job->gap = *gap;
    }
    return writer_add(writer, job, error);
}

int night_put_mark(struct night_writer *writer, const struct mark *mark, struct error *error)
{
    if (writer_check_open(writer, error) != 0) {
        return -1;
    }
    struct job *job = job_new(JOB_MARK, 0);
    if (!job) {
        return writer_out_of_memory(error);
    }
    job->mark = *mark;
    uv_mutex_lock(&writer->lock);
    int result = 0;
    if (mark->id <= writer->last_mark) {
        free(job);
        result =
            error_set(error, ERROR_STATE, "night: mark %lld is there already", (long long)mark->id);
    } else {
        result = writer_add_locked(writer, job, error);
        writer->last_mark = result == 0 ? mark->id : writer->last_mark;
    }
    uv_mutex_unlock(&writer->lock);
    return result;
}

int night_put_analysis(struct night_writer *writer, int analysis, const struct site *site,
                       const char *why, struct error *error)
{
    if (writer_check_analysis(writer, analysis, error) != 0) {
        return -1;
    }
    size_t length = strlen(why) + 1;
    size_t used = 0;
    struct job *job = job_new(JOB_ANALYSIS, job_extra_size(length));
    if (job) {
        job->analysis = analysis;
        job->analysis_row =
            (struct job_analysis){.mains_hz = site->mains_hz,
                                  .baseline_s = site->baseline_s,
                                  .false_onsets_per_hour = site->false_onsets_per_hour,
                                  .alert_limit_per_night = site->alert_limit_per_night,
                                  .order_confidence = site->order_confidence,
                                  .why = memcpy(job_extra(job, &used, length), why, length)};
    }
    return writer_add(writer, job, error);
}

int night_put_disturbance(struct night_writer *writer, int analysis,
                          const struct disturbance *disturbance, struct error *error)
{
    if (writer_check_analysis(writer, analysis, error) != 0 ||
        writer_check_node(writer, disturbance->node, error) != 0) {
        return -1;
    }
    struct job *job = job_new(JOB_DISTURBANCE, 0);
    if (job) {
        job->analysis = analysis;
        job->disturbance = *disturbance;
    }
    return writer_add(writer, job, error);
}

int night_put_coincidence(struct night_writer *writer, int analysis,
                          const struct coincidence *coincidence, struct error *error)
{
    if (writer_check_analysis(writer, analysis, error) != 0) {
        return -1;
    }
    if (coincidence->member_count > COINCIDENCE_MEMBERS_MAX ||
        coincidence->order_count > COINCIDENCE_MEMBERS_MAX ||
        coincidence->path_count > COINCIDENCE_MEMBERS_MAX ||
        coincidence->verdict.reason_count > COINCIDENCE_REASONS_MAX) {
        return error_set(error, ERROR_RANGE, "night: coincidence %lld is longer than it may be",
                         (long long)coincidence->id);
    }
    size_t used = 0;
    struct job *job = job_new(JOB_COINCIDENCE, job_extra_size(sizeof *coincidence));
    if (job) {
        job->analysis = analysis;
        job->coincidence =
            memcpy(job_extra(job, &used, sizeof *coincidence), coincidence, sizeof *coincidence);
    }
    return writer_add(writer, job, error);
}

int night_put_chance(struct night_writer *writer, int analysis, int64_t coincidence_id,
                     const struct chance *chance, struct error *error)
{
    if (writer_check_analysis(writer, analysis, error) != 0) {
        return -1;
    }
    struct job *job = job_new(JOB_CHANCE, 0);
    if (job) {
        job->analysis = analysis;
        job->chance = (struct job_chance){coincidence_id, *chance};
    }
    return writer_add(writer, job, error);
}

/* A job of words; `label` may be NULL. */
static struct job *note_job(enum job_kind kind, int64_t time_ns, const char *label,
                            const char *text)
{
    size_t label_size = label ? strlen(label) + 1 : 0;
    size_t text_size = strlen(text) + 1;
    struct job *job = job_new(kind, job_extra_size(label_size) + job_extra_size(text_size));
    if (job) {
        size_t used = 0;
        job->note.time_ns = time_ns;
        job->note.text = memcpy(job_extra(job, &used, text_size), text, text_size);
        if (label) {
            job->note.label = memcpy(job_extra(job, &used, label_size), label, label_size);
        }
    }
    return job;
}

int night_put_alert(struct night_writer *writer, int analysis, int64_t coincidence_id,
                    int64_t time_ns, const char *text, struct error *error)
{
    if (writer_check_analysis(writer, analysis, error) != 0) {
        return -1;
    }
    struct job *job = note_job(JOB_ALERT, time_ns, NULL, text);
    if (job) {
        job->analysis = analysis;
        job->note.coincidence_id = coincidence_id;
    }
    return writer_add(writer, job, error);
}

int night_put_notice(struct night_writer *writer, int analysis, uint32_t node, const char *quantity,
                     int64_t time_ns, const char *text, struct error *error)
{
    if (writer_check_analysis(writer, analysis, error) != 0 ||
        writer_check_node(writer, node, error) != 0) {
        return -1;
    }
    struct job *job = note_job(JOB_NOTICE, time_ns, quantity, text);
    if (job) {
        job->analysis = analysis;
        job->note.node = node;
    }
    return writer_add(writer, job, error);
}

int night_put_state(struct night_writer *writer, uint32_t node, int64_t time_ns, const char *json,
                    struct error *error)
{
    if (writer_check_recording(writer, node, error) != 0) {
        return -1;
    }
    struct job *job = note_job(JOB_STATE, time_ns, NULL, json);
    if (job) {
        job->note.node = node;
    }
    return writer_add(writer, job, error);
}

int night_put_log(struct night_writer *writer, int64_t time_ns, const char *level, const char *text,
                  struct error *error)
{
    return writer_check_open(writer, error) != 0
               ? -1
               : writer_add(writer, note_job(JOB_LOG, time_ns, level, text), error);
}
