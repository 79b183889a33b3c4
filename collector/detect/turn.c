/* The field's spread along its main direction and across it.
 * Must never take noise for a turn. Called by watch.
 * Each sample is multiplied by the one before it: noise that differs between them adds nothing on
 * average, however it differs between the axes. */
#include "collector/detect/turn.h"

#include <math.h>
#include <string.h>

#define PI 3.14159265358979323846

/* Noise that is alike in neighbouring samples, as a part of all noise's square: so much at least is
 * allowed for, of what was measured more, and so many sigmas of the rest. Our choices. */
#define SLOW_PART 0.25
#define SLOW_SPARE 1.5
#define SIGMAS 4.0
#define COUNT_MIN 8u

void turn_restart(struct turn *turn)
{
    memset(turn, 0, sizeof *turn);
}

void turn_take(struct turn *turn, const double deviation[3])
{
    const double *now = deviation;
    const double *then = turn->before;
    if (turn->count > 0) {
        turn->sums[0] += now[0] * then[0];
        turn->sums[1] += now[1] * then[1];
        turn->sums[2] += now[2] * then[2];
        turn->sums[3] += 0.5 * (now[0] * then[1] + now[1] * then[0]);
        turn->sums[4] += 0.5 * (now[0] * then[2] + now[2] * then[0]);
        turn->sums[5] += 0.5 * (now[1] * then[2] + now[2] * then[1]);
    }
    turn->squares += now[0] * now[0] + now[1] * now[1] + now[2] * now[2];
    memcpy(turn->before, deviation, sizeof turn->before);
    turn->count++;
}

/* The two greatest eigenvalues of a symmetric matrix (Smith, Communications of the ACM 4 (1961),
 * 168). */
static void two_greatest(const double m[6], double *first, double *second)
{
    double mean = (m[0] + m[1] + m[2]) / 3.0;
    double a = m[0] - mean;
    double b = m[1] - mean;
    double c = m[2] - mean;
    double off = m[3] * m[3] + m[4] * m[4] + m[5] * m[5];
    double radius = sqrt((a * a + b * b + c * c + 2.0 * off) / 6.0);
    if (!(radius > 0.0)) {
        *first = mean;
        *second = mean;
        return;
    }
    double determinant = a * (b * c - m[5] * m[5]) - m[3] * (m[3] * c - m[5] * m[4]) +
                         m[4] * (m[3] * m[5] - b * m[4]);
    double cosine = fmin(1.0, fmax(-1.0, determinant / (2.0 * radius * radius * radius)));
    double angle = acos(cosine) / 3.0;
    *first = mean + 2.0 * radius * cos(angle);
    double third = mean + 2.0 * radius * cos(angle + 2.0 * PI / 3.0);
    *second = 3.0 * mean - *first - third;
}

double turn_slow_part(const struct turn *turn, double scale)
{
    double first;
    double second;
    if (turn->count < COUNT_MIN || !(scale > 0.0)) {
        return SLOW_PART;
    }
    two_greatest(turn->sums, &first, &second);
    return fmax(SLOW_PART, SLOW_SPARE * first / ((double)(turn->count - 1) * scale * scale));
}

struct turn_found turn_find(const struct turn *turn, double scale, double slow)
{
    struct turn_found found = {0.0, 0.0, 0.0, 0.0};
    if (turn->count < COUNT_MIN || !(scale > 0.0) || !(turn->squares > 0.0)) {
        return found;
    }
    double n = (double)(turn->count - 1);
    double first;
    double second;
    two_greatest(turn->sums, &first, &second);
    double unit = n * scale * scale;
    double least = slow + SIGMAS / sqrt(n);
    found.along = sqrt(fmax(0.0, first / unit));
    found.least = sqrt(least);
    found.alike = (turn->sums[0] + turn->sums[1] + turn->sums[2]) / turn->squares;
    found.across = second / unit > least ? sqrt(second / unit) : 0.0;
    return found;
}
