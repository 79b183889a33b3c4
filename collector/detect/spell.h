/* How long a quiet spell lasts: a stated time, longer where it was disturbed, or until it is ended
 * by hand. Must never hold what is learnt in it. Owned by the detector, asked by watch and motion.
 */
#ifndef ROOMWAKE_COLLECTOR_DETECT_SPELL_H
#define ROOMWAKE_COLLECTOR_DETECT_SPELL_H

#include <stdbool.h>
#include <stdint.h>

/* A stretch with a deviation beyond so many sigma is a disturbed one: of noise alone, even heavy in
 * its tails, hardly any is. Our choice. */
#define SPELL_DISTURBED_SIGMA 8.0

struct spell {
    bool by_hand;
    int64_t end_ns; /* told by hand; INT64_MIN: not yet */
};

enum spell_says { SPELL_BY_LENGTH, SPELL_GOES_ON, SPELL_OVER };

/* What the hand says at time_ns of a spell that began at first_ns. An end before its beginning is
 * none of this spell's; an end never prolongs what was to be over sooner. */
static inline enum spell_says spell_ask(const struct spell *spell, int64_t first_ns,
                                        int64_t time_ns)
{
    bool ended = spell->end_ns > first_ns;
    if (ended && time_ns >= spell->end_ns) {
        return SPELL_OVER;
    }
    return spell->by_hand && (ended || spell->end_ns == INT64_MIN) ? SPELL_GOES_ON
                                                                   : SPELL_BY_LENGTH;
}

#endif
