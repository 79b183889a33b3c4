/* Counter-based chance: splitmix64's finaliser over key + counter, and the normal quantile.
 * Must never keep state. Called by every part of the simulated building. */
#include "node/world/rng.h"

#include <math.h>

#define GOLDEN UINT64_C(0x9e3779b97f4a7c15)

/* The finaliser of splitmix64 (Steele, Lea, Flood, "Fast splittable pseudorandom number
 * generators", OOPSLA 2014, fig. 17 in the "mix13" variant). */
static inline uint64_t mix(uint64_t z)
{
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static inline double uniform(uint64_t key, uint64_t counter)
{
    uint64_t bits = mix(key + counter * GOLDEN);
    return ((double)(bits >> 12) + 0.5) * 0x1p-52;
}

/* A polynomial of degree 7 by Horner's rule, highest power first. */
static inline double polynomial(const double coefficient[8], double r)
{
    double sum = coefficient[0];
    for (int i = 1; i < 8; i++) {
        sum = sum * r + coefficient[i];
    }
    return sum;
}

/* Algorithm AS 241, PPND16 (Wichura, Applied Statistics 37:477-484, 1988). */
static const double middle_over[8] = {2.5090809287301226727e+3, 3.3430575583588128105e+4,
                                      6.7265770927008700853e+4, 4.5921953931549871457e+4,
                                      1.3731693765509461125e+4, 1.9715909503065514427e+3,
                                      1.3314166789178437745e+2, 3.3871328727963666080e+0};
static const double middle_under[8] = {5.2264952788528545610e+3, 2.8729085735721942674e+4,
                                       3.9307895800092710610e+4, 2.1213794301586595867e+4,
                                       5.3941960214247511077e+3, 6.8718700749205790830e+2,
                                       4.2313330701600911252e+1, 1.0};
static const double near_over[8] = {7.74545014278341407640e-4, 2.27238449892691845833e-2,
                                    2.41780725177450611770e-1, 1.27045825245236838258e+0,
                                    3.64784832476320460504e+0, 5.76949722146069140550e+0,
                                    4.63033784615654529590e+0, 1.42343711074968357734e+0};
static const double near_under[8] = {1.05075007164441684324e-9, 5.47593808499534494600e-4,
                                     1.51986665636164571966e-2, 1.48103976427480074590e-1,
                                     6.89767334985100004550e-1, 1.67638483018380384940e+0,
                                     2.05319162663775882187e+0, 1.0};
static const double far_over[8] = {2.01033439929228813265e-7, 2.71155556874348757815e-5,
                                   1.24266094738807843860e-3, 2.65321895265761230930e-2,
                                   2.96560571828504891230e-1, 1.78482653991729133580e+0,
                                   5.46378491116411436990e+0, 6.65790464350110377720e+0};
static const double far_under[8] = {2.04426310338993978564e-15, 1.42151175831644588870e-7,
                                    1.84631831751005468180e-5,  7.86869131145613259100e-4,
                                    1.48753612908506148525e-2,  1.36929880922735805310e-1,
                                    5.99832206555887937690e-1,  1.0};

static double quantile_tail(double q, double p)
{
    double r = sqrt(-log(q < 0.0 ? p : 1.0 - p));
    double x = r <= 5.0 ? polynomial(near_over, r - 1.6) / polynomial(near_under, r - 1.6)
                        : polynomial(far_over, r - 5.0) / polynomial(far_under, r - 5.0);
    return q < 0.0 ? -x : x;
}

static inline double quantile(double p)
{
    double q = p - 0.5;
    if (fabs(q) > 0.425) {
        return quantile_tail(q, p);
    }
    double r = 0.180625 - q * q;
    return q * polynomial(middle_over, r) / polynomial(middle_under, r);
}

uint64_t rng_key(uint64_t seed, uint64_t a, uint64_t b)
{
    return mix(mix(mix(seed + GOLDEN) + a + GOLDEN) + b + GOLDEN);
}

uint64_t rng_key_text(uint64_t seed, const char *text)
{
    uint64_t key = mix(seed + GOLDEN);
    for (const char *at = text; *at; at++) {
        key = mix(key + (unsigned char)*at + GOLDEN);
    }
    return key;
}

uint64_t rng_bits(uint64_t key, uint64_t counter)
{
    return mix(key + counter * GOLDEN);
}

double rng_uniform(uint64_t key, uint64_t counter)
{
    return uniform(key, counter);
}

double rng_normal_quantile(double p)
{
    return quantile(p);
}

double rng_gaussian(uint64_t key, uint64_t counter)
{
    return quantile(uniform(key, counter));
}

double rng_smooth(uint64_t key, double x)
{
    double whole = floor(x);
    double part = x - whole;
    uint64_t at = (uint64_t)(int64_t)whole;
    double left = rng_gaussian(key, at);
    double right = rng_gaussian(key, at + 1);
    double blend = part * part * (3.0 - 2.0 * part);
    return left + (right - left) * blend;
}

void rng_add_gaussian(uint64_t key, uint64_t first, double scale, double *out, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        out[i] += scale * quantile(uniform(key, first + i));
    }
}
