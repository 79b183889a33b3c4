/* Applying a clock line: node time to site time, and how sure that is.
 * Must never wrap around: what leaves int64 stays at its end.
 * Called wherever a block is cooked; the line itself comes from clock_fitter.c. */
#include "common/clock_fit.h"

#include <math.h>

#define WIDEST_NS 1e18
#define PPT_OF_ONE INT64_C(1000000000000)

__extension__ typedef __int128 wide;

static int64_t saturate(wide value)
{
    if (value > INT64_MAX) {
        return INT64_MAX;
    }
    if (value < INT64_MIN) {
        return INT64_MIN;
    }
    return (int64_t)value;
}

/* To the nearest, halves away from zero. */
static wide divide_nearest(wide value, wide by)
{
    wide half = by / 2;
    return (value < 0 ? value - half : value + half) / by;
}

int64_t clock_fit_site_ns(const struct clock_fit *fit, int64_t node_ns)
{
    wide since = (wide)node_ns - fit->ref_node_ns;
    wide turned = divide_nearest(since * fit->rate_ppt, PPT_OF_ONE);
    return saturate((wide)node_ns + fit->offset_ns + turned);
}

int64_t clock_fit_uncertainty_ns(const struct clock_fit *fit, int64_t node_ns)
{
    wide since = (wide)node_ns - fit->ref_node_ns;
    wide away = since < 0 ? -since : since;
    wide by = INT64_C(1000000000);
    return saturate(fit->uncertainty_ns + (away * fit->growth_ppb + by - 1) / by);
}

void clock_fit_widen(struct clock_fit *fit, int64_t sd_ns)
{
    if (sd_ns > 0) {
        double both = hypot((double)fit->uncertainty_ns, (double)sd_ns);
        fit->uncertainty_ns = both < WIDEST_NS ? llround(ceil(both)) : llround(WIDEST_NS);
    }
}

struct clock_fit clock_fit_chain(const struct clock_fit *first, const struct clock_fit *then)
{
    struct clock_fit both = *first;
    int64_t between_ns = clock_fit_site_ns(first, first->ref_node_ns);
    int64_t end_ns = clock_fit_site_ns(then, between_ns);
    both.offset_ns = saturate((wide)end_ns - first->ref_node_ns);
    both.rate_ppt = saturate((wide)first->rate_ppt + then->rate_ppt +
                             divide_nearest((wide)first->rate_ppt * then->rate_ppt, PPT_OF_ONE));
    both.growth_ppb = saturate((wide)first->growth_ppb + then->growth_ppb);
    both.utc = then->utc;
    clock_fit_widen(&both, clock_fit_uncertainty_ns(then, between_ns));
    return both;
}

struct clock_fit clock_fit_inverse(const struct clock_fit *fit)
{
    struct clock_fit back = *fit;
    back.ref_node_ns = clock_fit_site_ns(fit, fit->ref_node_ns);
    back.offset_ns = saturate((wide)fit->ref_node_ns - back.ref_node_ns);
    back.rate_ppt = saturate(
        divide_nearest((wide)-fit->rate_ppt * PPT_OF_ONE, PPT_OF_ONE + (wide)fit->rate_ppt));
    back.utc = false;
    return back;
}

int64_t clock_exchange_offset_ns(const struct clock_exchange *exchange)
{
    wide out = (wide)exchange->t2_ns - exchange->t1_ns;
    wide back = (wide)exchange->t3_ns - exchange->t4_ns;
    return saturate(divide_nearest(out + back, 2));
}

int64_t clock_exchange_delay_ns(const struct clock_exchange *exchange)
{
    wide round_trip = (wide)exchange->t4_ns - exchange->t1_ns;
    wide held = (wide)exchange->t3_ns - exchange->t2_ns;
    return saturate(round_trip - held);
}
