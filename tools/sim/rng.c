#include "sim/rng.h"

#include <math.h>

static uint64_t rotate(uint64_t x, int by) {
    return (x << by) | (x >> (64 - by));
}

sim_rng sim_rng_seed(uint64_t seed) {
    sim_rng rng = {.spare = NAN};
    for (int i = 0; i < 4; i++) {
        seed += UINT64_C(0x9e3779b97f4a7c15);
        uint64_t z = seed;
        z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
        z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
        rng.state[i] = z ^ (z >> 31);
    }
    return rng;
}

uint64_t sim_rng_bits(sim_rng *rng) {
    uint64_t *s = rng->state;
    uint64_t result = rotate(s[1] * 5, 7) * 9;
    uint64_t t = s[1] << 17;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= t;
    s[3] = rotate(s[3], 45);
    return result;
}

double sim_rng_uniform(sim_rng *rng) {
    return (double)(sim_rng_bits(rng) >> 11) * 0x1p-53;
}

double sim_rng_normal(sim_rng *rng) {
    if (!isnan(rng->spare)) {
        double kept = rng->spare;
        rng->spare = NAN;
        return kept;
    }
    double u, v, r;
    do {
        u = 2.0 * sim_rng_uniform(rng) - 1.0;
        v = 2.0 * sim_rng_uniform(rng) - 1.0;
        r = u * u + v * v;
    } while (r >= 1.0 || r == 0.0);
    double factor = sqrt(-2.0 * log(r) / r);
    rng->spare = v * factor;
    return u * factor;
}
