/* What a detector has to say of itself, in words.
 * Must never be read back by a program. Called by field. */
#ifndef ROOMWAKE_COLLECTOR_DETECT_NOTICE_H
#define ROOMWAKE_COLLECTOR_DETECT_NOTICE_H

#include <stddef.h>

#define NOTICE_SIZE 320

struct field;

/* The quiet spell is over. */
void notice_learnt(const struct field *field, char text[NOTICE_SIZE]);
/* A louder noise was taken for usual in band `band`. */
void notice_noise_rose(const struct field *field, size_t band, char text[NOTICE_SIZE]);
/* Samples don't come at the rate that was told. */
void notice_odd_rate(const struct field *field, char text[NOTICE_SIZE]);

#endif
