/* Seeded random numbers for simulations: the same on every machine. */
#ifndef SIM_RNG_H
#define SIM_RNG_H

#include <stdint.h>

typedef struct sim_rng {
    uint64_t state[4];
    double spare; /* a normal deviate in stock, or NAN */
} sim_rng;

/* xoshiro256** (Blackman and Vigna 2018) seeded by splitmix64. */
sim_rng sim_rng_seed(uint64_t seed);
uint64_t sim_rng_bits(sim_rng *rng);
/* Uniform in [0, 1), 53 bits. */
double sim_rng_uniform(sim_rng *rng);
/* Standard normal (polar method). */
double sim_rng_normal(sim_rng *rng);

#endif
