/* How nodes and channels are called in miniSEED (FDSN, SEED Reference Manual 2.4, 2012, Appendix
 * A), and the note in blockette 2000 that says what three letters can't: the full names, the unit,
 * the step and the times to the nanosecond. Must never need the miniSEED library: export writes by
 * it, import reads by it. */
#ifndef ROOMWAKE_COMMON_SEED_CODE_H
#define ROOMWAKE_COMMON_SEED_CODE_H

#include "common/channel.h"
#include "common/error.h"
#include "common/site.h"

#define SEED_NETWORK "XX" /* for no registered network */
#define SEED_STATION_SIZE 6
#define SEED_CHANNEL_SIZE 4
#define SEED_NOTE_SIZE 256

/* The node's id in capitals without hyphens, cut to five; where two nodes would share one, or the
 * id has no such character, "Z" (or a letter before it) and its number in the site. */
void seed_station_code(const struct site *site, size_t node, char code[SEED_STATION_SIZE]);

/* Band, instrument and orientation. Of Appendix A: band by rate (no corner period: F C H B M L V U
 * R), F magnetometer and N accelerometer with axes 1 2 3 (the node's own, of no compass), K D I
 * temperature, pressure and humidity inside, Q electric potential. Ours, under Y (non-specific):
 * YM motion, YS sound, YB battery, YC the clock's uncertainty, YX anything else; and band A for
 * what is told only when it changes. */
void seed_channel_code(const struct channel *channel, char code[SEED_CHANNEL_SIZE]);

/* One record's note. */
struct seed_note {
    char node[IDENT_SIZE];
    char channel[CHANNEL_NAME_SIZE];
    char unit[UNIT_SIZE];
    struct decimal step; /* value = count * step + offset */
    struct decimal offset;
    int64_t t0_ns;     /* the record's first sample */
    int64_t period_ps; /* 0: it has one sample only */
};

/* "roomwake~1~NODE~CHANNEL~UNIT~STEP~OFFSET~T0~PERIOD~"; its length. */
size_t seed_note_format(const struct seed_note *note, char text[SEED_NOTE_SIZE]);
/* 1: read; 0: somebody else's; -1: ours, but damaged. */
int seed_note_parse(const char *text, size_t length, struct seed_note *note, struct error *error);

#endif
