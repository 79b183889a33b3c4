/* What a stream is to give: its columns, its nodes, and the changes of the clocks.
 * Must never be included outside stream*.c. */
#ifndef ROOMWAKE_COLLECTOR_EXPORT_STREAM_COLUMNS_H
#define ROOMWAKE_COLLECTOR_EXPORT_STREAM_COLUMNS_H

#include "collector/export/stream.h"

/* Fills site, columns, wanted_nodes and clocks. */
int stream_columns_read(struct stream *stream, struct night_reader *reader, struct error *error);
/* SIZE_MAX where the stream has no such column. */
size_t stream_columns_find(const struct stream *stream, const char *name);
/* Whether the options ask for the channel. */
bool stream_columns_wanted(const struct export_options *options, const char *channel);

#endif
