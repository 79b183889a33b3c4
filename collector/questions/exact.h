/* Exact tests and intervals for counts of windows with and without a response.
 * Must never use a normal approximation where a count can be summed. Called by score, plan, checks.
 */
#ifndef ROOMWAKE_COLLECTOR_QUESTIONS_EXACT_H
#define ROOMWAKE_COLLECTOR_QUESTIONS_EXACT_H

#include <stdint.h>

/* A 2 x 2 table: of `asked` question windows `asked_hits` brought a response, of `silent` control
 * windows `silent_hits` did. Hits never exceed their windows. */
struct exact_table {
    uint32_t asked_hits;
    uint32_t asked;
    uint32_t silent_hits;
    uint32_t silent;
};

/* Probability of exactly `hits` among `asked` windows when `hits_in_all` of `windows` brought one
 * and which windows were asked in was drawn at random (hypergeometric). 0 where impossible. */
double exact_hypergeometric(uint32_t hits, uint32_t asked, uint32_t hits_in_all, uint32_t windows);
/* Fisher's exact test (The Design of Experiments, 1935, ch. II), one-sided: as many hits or more in
 * the asked windows, by the drawing alone. 1 for an empty table. */
double exact_fisher_more(const struct exact_table *table);
/* Two-sided: all tables that are no more probable than this one. */
double exact_fisher_two_sided(const struct exact_table *table);

/* P(X = hits) and P(X >= hits) of a binomial count. */
double exact_binomial(uint32_t hits, uint32_t trials, double p);
double exact_binomial_more(uint32_t hits, uint32_t trials, double p);
/* Limits of a proportion: Clopper and Pearson (1934), Biometrika 26:404. */
void exact_clopper_pearson(uint32_t hits, uint32_t trials, double confidence, double *low,
                           double *high);
/* Limits of a proportion: Wilson (1927), J. Am. Stat. Assoc. 22:209. 95 % only. */
void exact_wilson_95(uint32_t hits, uint32_t trials, double *low, double *high);
/* Limits of the difference asked - silent at 95 %: Newcombe (1998), Statistics in Medicine 17:873,
 * method 10 (hybrid of Wilson's limits). -1..1 for an empty row. */
void exact_difference_95(const struct exact_table *table, double *low, double *high);

/* Probability that the one-sided test above comes out at or below alpha, when each asked window
 * brings a response with p_asked and each silent one with p_silent: every table summed. */
double exact_power(uint32_t asked, uint32_t silent, double p_asked, double p_silent, double alpha);

#endif
