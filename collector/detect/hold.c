/* Sample and hold at one second.
 * Must never run ahead of what is known. Called by detector, in front of field.
 */
#include "collector/detect/hold.h"

void hold_advance(struct hold *hold, struct field *field, int64_t until_ns)
{
    const double *values[1] = {&hold->value};
    while (hold->started && hold->next_ns < until_ns) {
        field_push(field, &hold->next_ns, values, 1);
        hold->next_ns += HOLD_PERIOD_PS / 1000;
    }
}

void hold_push(struct hold *hold, struct field *field, const int64_t *times, const double *values,
               size_t n)
{
    for (size_t i = 0; i < n; i++) {
        hold_advance(hold, field, times[i]);
        if (!hold->started) {
            hold->started = true;
            hold->next_ns = times[i];
        }
        hold->value = values[i];
    }
}
