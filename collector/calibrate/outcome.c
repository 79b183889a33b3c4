/* Doubles of a fit to the exact decimals of a description.
 * Must never round by more than a tenth of what is uncertain. Called by the calibrate run. */
#include "collector/calibrate/outcome.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* Where nothing says how sure a number is. */
#define DIGITS_WITHOUT_SD 6
#define DIGITS_MOST 7

/* The nearest multiple of the power of ten that is at most sd / 10. */
static int round_to(double value, double sd, struct decimal *out)
{
    double size = fabs(value);
    double most = size > 0.0 ? floor(log10(size)) + 1.0 - DIGITS_MOST : -300.0;
    double places = sd > 0.0 ? floor(log10(sd / 10.0))
                             : floor(log10(size > 0.0 ? size : 1.0)) + 1.0 - DIGITS_WITHOUT_SD;
    places = fmax(places, most);
    if (!isfinite(value) || !isfinite(places) || fabs(places) > 300.0) {
        return -1;
    }
    double mantissa = round(value / pow(10.0, places));
    if (fabs(mantissa) > 9e15) {
        return -1;
    }
    *out = decimal_normal((struct decimal){(int64_t)mantissa, (int16_t)places});
    return 0;
}

static void add_how(const char *how, struct calibration *calibration)
{
    size_t used = strlen(calibration->how);
    if (!strstr(calibration->how, how)) {
        (void)snprintf(calibration->how + used, sizeof calibration->how - used, "%s%s",
                       used ? ", " : "", how);
    }
}

int outcome_merge(const struct outcome *outcome, const char *how, int64_t date_ns,
                  struct calibration *calibration, struct error *error)
{
    double gain = decimal_to_double(calibration->gain);
    double zero = -decimal_to_double(calibration->offset) / gain;
    double zero_sd = calibration->offset_sd / fabs(gain);
    if (!isnan(outcome->gain)) {
        gain = outcome->gain;
        calibration->gain_sd = outcome->gain_sd;
    }
    if (!isnan(outcome->zero)) {
        zero = outcome->zero;
        zero_sd = outcome->zero_sd;
    }
    calibration->offset_sd = zero_sd * fabs(gain);
    calibration->residual = isnan(outcome->residual) ? calibration->residual : outcome->residual;
    calibration->date_ns = date_ns;
    add_how(how, calibration);
    if (round_to(gain, calibration->gain_sd * fabs(gain), &calibration->gain) != 0 ||
        calibration->gain.mantissa == 0 ||
        round_to(-zero * decimal_to_double(calibration->gain), calibration->offset_sd,
                 &calibration->offset) != 0) {
        return error_set(error, ERROR_RANGE, "a gain of %g and a zero at %g can't be kept", gain,
                         zero);
    }
    return 0;
}
