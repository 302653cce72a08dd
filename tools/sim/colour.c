#include "sim/colour.h"

#include <complex.h>
#include <math.h>

static sim_colour pink(double rate_hz) {
    sim_colour c = {0};
    for (double hz = 1; hz < rate_hz / 4 && c.octaves < SIM_OCTAVES; hz *= 2, c.octaves++) {
        double keep = exp(-2 * M_PI * hz / rate_hz);
        c.keep[c.octaves] = keep;
        c.drive[c.octaves] = sqrt(1 - keep * keep);
    }
    for (size_t i = 0; i < c.octaves; i++)
        c.drive[i] /= sqrt((double)c.octaves);
    return c;
}

/* All-pole by matched poles; the variance of an AR(2) process is
 * g^2 (1 + a2) / ((1 - a2) ((1 + a2)^2 - a1^2)) (Box and Jenkins). */
static sim_colour low_passed(double hz, double rate_hz) {
    sim_colour c = {0};
    double complex pole = cexp(2 * M_PI * hz / rate_hz * cexp(I * 0.75 * M_PI));
    c.a1 = -2 * creal(pole);
    c.a2 = creal(pole * conj(pole));
    double variance = (1 + c.a2) / ((1 - c.a2) * ((1 + c.a2) * (1 + c.a2) - c.a1 * c.a1));
    c.gain = 1 / sqrt(variance);
    return c;
}

sim_colour sim_colour_new(double hz, double rate_hz) {
    return hz > 0 ? low_passed(hz, rate_hz) : pink(rate_hz);
}

double sim_colour_next(sim_colour *c, sim_rng *rng) {
    double y = 0;
    for (size_t i = 0; i < c->octaves; i++) {
        c->state[i] = c->keep[i] * c->state[i] + c->drive[i] * sim_rng_normal(rng);
        y += c->state[i];
    }
    if (c->octaves == 0) {
        y = c->gain * sim_rng_normal(rng) - c->a1 * c->z1 - c->a2 * c->z2;
        c->z2 = c->z1;
        c->z1 = y;
    }
    return y;
}
