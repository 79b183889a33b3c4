/* Text that somebody else wrote, made harmless: one line, valid UTF-8, nothing that turns the
 * reading direction round, and nothing that markup would act on.
 * Must never be skipped for a title, a mark, a reason or any other text of a night. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_PLAIN_H
#define ROOMWAKE_COLLECTOR_EXPORT_PLAIN_H

#include <stdio.h>

#include "common/text.h"

/* Control characters and line ends become spaces, bytes that are no UTF-8 U+FFFD; direction
 * controls (Unicode's Bidi_Control) and byte order marks are left out. */
void plain_append(struct text *out, const char *words);
/* The same, and & < > as character references: between the tags of HTML and SVG, and in WebVTT. */
void plain_append_markup(struct text *out, const char *words);
/* The same, and both quotes: in an attribute. */
void plain_append_attribute(struct text *out, const char *words);
/* To a terminal: control characters and line ends become spaces. */
void plain_print(FILE *out, const char *words);

#endif
