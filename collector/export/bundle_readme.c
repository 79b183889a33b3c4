/* README.txt of a bundle: what each file is, how to open it, how to check it.
 * Must never promise more than the seal proves. Called by bundle.c. */
#include "collector/export/bundle_readme.h"

#include "collector/export/plain.h"
#include "collector/export/write.h"
#include "common/seed_code.h"
#include "common/timefmt.h"

static const char files[] =
    "What is here\n"
    "------------\n"
    "report.html            The night in words and figures. Any browser; it prints, it needs no\n"
    "                       network and runs no script.\n"
    "night.sqlite           The night itself: every sample, clock, gap, mark and finding. An "
    "SQLite\n"
    "                       database with plain tables: sqlite3 night.sqlite .schema\n"
    "site.json              The building, the nodes and their channels, as the team described "
    "them.\n"
    "findings.json          Disturbances, coincidences, marks (JSON).\n"
    "captions.vtt           The findings and marks as captions (W3C WebVTT); 00:00:00 is the "
    "night's\n"
    "                       beginning. Load it beside a film or a sound recording of the night.\n"
    "samples.csv            Every sample: time (seconds since 1970 UTC), node, one column a "
    "channel,\n"
    "                       an empty cell where there is no sample. clock-uncertainty is each "
    "node's\n"
    "                       own one sigma, in seconds, told when it changes.\n"
    "seconds.csv            The least, mean and most of each second, for a spreadsheet.\n"
    "samples.senml.json     The same samples as a SenML pack (RFC 8428).\n"
    "samples.mseed          The same samples as FDSN miniSEED 2 (Steim-2, 512-byte records).\n"
    "SHA256SUMS             sha256sum -c SHA256SUMS tells whether a file was changed on its way.\n"
    "\n"
    "How to check it\n"
    "---------------\n"
    "sha256sum -c SHA256SUMS                     nothing was damaged on its way to you\n"
    "roomwake verify night.sqlite --root ROOT    nothing was changed since the night was signed\n"
    "\n";

static const char after_keys[] =
    "The seal proves that nothing was changed after signing. It does not prove that a sensor was\n"
    "honest, nor when the night was, unless the root was made known that night.\n"
    "\n"
    "To find the findings again from the samples alone:\n"
    "    roomwake import --site site.json --csv samples.csv --marks findings.json --night "
    "n.sqlite\n"
    "(--senml and --mseed take the other two).\n"
    "\n"
    "Please read\n"
    "-----------\n"
    "\"Unexplained\" means unexplained by the causes tested, and no more. The plan of a building "
    "and\n"
    "what a team noted may be private: pass them on only with permission.\n"
    "\n"
    "Names in samples.mseed\n"
    "----------------------\n"
    "Network XX (none is registered). Channel letters are those of the SEED manual, Appendix A; "
    "under\n"
    "Y (non-specific) they are ours: YM motion, YS sound, YB battery, YC the clock's uncertainty, "
    "YX\n"
    "anything else. Axes 1 2 3 are the node's own x y z. Band A is told only when it changes. A "
    "value is\n"
    "the count times the step, plus the offset; blockette 2000 of each record has both, the full "
    "names\n"
    "and the time to the nanosecond.\n"
    "\n"
    "station  node                             channels (letters, step, unit)\n";

static int put_channels(struct night_reader *reader, uint32_t node, struct text *text,
                        struct error *error)
{
    struct channel channels[NODE_CHANNELS_MAX];
    size_t count = 0;
    if (night_read_channels(reader, node, channels, NODE_CHANNELS_MAX, &count, error) != 0) {
        return -1;
    }
    for (size_t i = 0; i < count; i++) {
        char code[SEED_CHANNEL_SIZE];
        char step[DECIMAL_TEXT_SIZE];
        seed_channel_code(&channels[i], code);
        decimal_format(channels[i].step, step);
        (void)text_append_format(text, "%s", i > 0 ? ", " : "");
        plain_append(text, channels[i].name);
        (void)text_append_format(text, " (%s, %s ", code, step);
        plain_append(text, channels[i].unit);
        (void)text_append_format(text, "%s)",
                                 channel_calibrated(&channels[i]) ? "" : ", uncalibrated");
    }
    return 0;
}

static int put_nodes(struct night_reader *reader, const struct site *site, struct text *text,
                     struct error *error)
{
    for (uint32_t node = 0; node < site->node_count; node++) {
        char station[SEED_STATION_SIZE];
        seed_station_code(site, node, station);
        (void)text_append_format(text, "%-8s %-32s ", station, site->nodes[node].id);
        if (put_channels(reader, node, text, error) != 0) {
            return -1;
        }
        (void)text_append_format(text, "\n");
    }
    return 0;
}

static void put_window(const struct export_options *options, struct text *text)
{
    char time[TIMEFMT_SIZE];
    if (options->from_ns != INT64_MIN) {
        timefmt_rfc3339(options->from_ns, time);
        (void)text_append_format(text, "Samples and findings from %s on.\n", time);
    }
    if (options->to_ns != INT64_MAX) {
        timefmt_rfc3339(options->to_ns, time);
        (void)text_append_format(text, "Samples and findings before %s.\n", time);
    }
    for (size_t i = 0; i < options->node_count; i++) {
        (void)text_append_format(text, "Samples of node %s.\n", options->nodes[i]);
    }
    for (size_t i = 0; i < options->channel_count; i++) {
        (void)text_append_format(text, "Samples of channel %s.\n", options->channels[i]);
    }
    if (options->from_ns != INT64_MIN || options->to_ns != INT64_MAX || options->node_count > 0 ||
        options->channel_count > 0) {
        (void)text_append_format(text, "night.sqlite and report.html are of the whole night.\n");
    }
}

int bundle_readme_write(struct night_reader *reader, const struct export_options *options,
                        FILE *out, struct error *error)
{
    struct night_info info;
    struct site *site = NULL;
    struct text text = {0};
    char root[65];
    char key[65];
    char start[TIMEFMT_SIZE];
    if (night_read_info(reader, &info, error) != 0 || night_read_root(reader, root, error) != 0 ||
        night_read_key(reader, key, error) != 0 ||
        night_read_site(reader, options->analysis, &site, error) != 0) {
        return -1;
    }
    timefmt_rfc3339(info.start_ns, start);
    (void)text_append_format(&text, "Night ");
    plain_append(&text, info.id);
    (void)text_append_format(&text, ", begun %s, at ", start);
    plain_append(&text, site->title);
    (void)text_append_format(&text, "\nMade by roomwake %s.\n", ROOMWAKE_VERSION);
    put_window(options, &text);
    (void)text_append_format(&text, "\n%s", files);
    (void)text_append_format(&text, "ROOT is %s\nthe base station's public key is %s\n\n",
                             root[0] ? root : "not told", key[0] ? key : "not told");
    (void)text_append_format(&text, "%s", after_keys);
    int result = put_nodes(reader, site, &text, error);
    result = result == 0 ? write_text(&text, out, true, error) : -1;
    text_free(&text);
    site_free(site);
    return result;
}
