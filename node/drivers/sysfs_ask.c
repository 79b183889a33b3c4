/* A thread a question, that nobody waits for longer than the deadline.
 * Must never free what the thread still writes to: whoever is last frees. Called by iio_files.c and
 * iio_buffer.c. */
#include "node/drivers/sysfs_ask.h"

#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "node/drivers/sysfs_reader.h"

struct question {
    pthread_mutex_t lock;
    pthread_cond_t answered;
    char path[SYSFS_PATH_SIZE];
    bool writes;
    char text[SYSFS_TEXT_SIZE]; /* to write, or what was read */
    struct error error;
    int result;
    bool done;
    int holders;
};

static void let_go(struct question *question)
{
    bool last = --question->holders == 0;
    pthread_mutex_unlock(&question->lock);
    if (last) {
        pthread_cond_destroy(&question->answered);
        pthread_mutex_destroy(&question->lock);
        free(question);
    }
}

static int write_text(const char *path, const char *text, struct error *error)
{
    int file = open(path, O_WRONLY | O_CLOEXEC);
    size_t length = strlen(text);
    if (file < 0) {
        return error_set(error, errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "%s: %s", path,
                         strerror(errno));
    }
    bool good = write(file, text, length) == (ssize_t)length;
    int why = errno;
    (void)close(file);
    return good ? 0 : error_set(error, ERROR_IO, "%s: %s", path, strerror(why));
}

static int read_text(const char *path, char *text, struct error *error)
{
    if (access(path, F_OK) != 0 && errno == ENOENT) {
        return error_set(error, ERROR_NOT_FOUND, "%s: %s", path, strerror(ENOENT));
    }
    return sysfs_read_text(path, text, SYSFS_TEXT_SIZE, error);
}

static void *answer(void *context)
{
    struct question *question = context;
    struct error error = {0};
    char text[SYSFS_TEXT_SIZE] = "";
    int result = question->writes ? write_text(question->path, question->text, &error)
                                  : read_text(question->path, text, &error);
    pthread_mutex_lock(&question->lock);
    question->result = result;
    question->error = error;
    if (!question->writes) {
        memcpy(question->text, text, sizeof text);
    }
    question->done = true;
    pthread_cond_signal(&question->answered);
    let_go(question);
    return NULL;
}

static struct question *ask(const char *path, const char *text, struct error *error)
{
    struct question *question = calloc(1, sizeof *question);
    pthread_condattr_t monotonic;
    pthread_t thread;
    if (!question || strlen(path) >= sizeof question->path ||
        (text && strlen(text) >= sizeof question->text)) {
        free(question);
        (void)error_set(error, ERROR_MEMORY, "%.100s: can't be asked", path);
        return NULL;
    }
    (void)snprintf(question->path, sizeof question->path, "%s", path);
    (void)snprintf(question->text, sizeof question->text, "%s", text ? text : "");
    question->writes = text != NULL;
    question->holders = 2;
    pthread_mutex_init(&question->lock, NULL);
    pthread_condattr_init(&monotonic);
    pthread_condattr_setclock(&monotonic, CLOCK_MONOTONIC);
    pthread_cond_init(&question->answered, &monotonic);
    pthread_condattr_destroy(&monotonic);
    pthread_mutex_lock(&question->lock);
    if (pthread_create(&thread, NULL, answer, question)) {
        question->holders = 1;
        let_go(question);
        (void)error_set(error, ERROR_MEMORY, "%s: no thread to ask with", path);
        return NULL;
    }
    pthread_detach(thread);
    return question;
}

/* Lets go of the question in any case. */
static int await(struct question *question, int most_ms, char *text, size_t size,
                 struct error *error)
{
    struct timespec until;
    int result;
    clock_gettime(CLOCK_MONOTONIC, &until); /* what the condition waits by, not a sample's time */
    until.tv_nsec += most_ms % 1000 * 1000000L;
    until.tv_sec += most_ms / 1000;
    until.tv_sec += until.tv_nsec / 1000000000L;
    until.tv_nsec %= 1000000000L;
    while (!question->done &&
           pthread_cond_timedwait(&question->answered, &question->lock, &until) == 0) {
    }
    if (!question->done) {
        result = error_set(error, ERROR_IO, "%s: no answer", question->path);
    } else if (question->result) {
        *error = question->error;
        result = -1;
    } else {
        result = 0;
        if (text) {
            (void)snprintf(text, size, "%s", question->text);
        }
    }
    let_go(question);
    return result;
}

int sysfs_ask_text(const char *path, int most_ms, char *text, size_t size, struct error *error)
{
    struct question *question = ask(path, NULL, error);
    return question ? await(question, most_ms, text, size, error) : -1;
}

int sysfs_ask_write(const char *path, int most_ms, const char *text, struct error *error)
{
    struct question *question = ask(path, text, error);
    return question ? await(question, most_ms, NULL, 0, error) : -1;
}

int sysfs_ask_decimal(const char *path, int most_ms, struct decimal *value, struct error *error)
{
    char text[SYSFS_TEXT_SIZE];
    if (sysfs_ask_text(path, most_ms, text, sizeof text, error)) {
        return -1;
    }
    struct error why;
    return decimal_parse(text, strlen(text), value, &why) == 0
               ? 0
               : error_set(error, ERROR_IO, "%s: %s", path, why.text);
}
