/* Analogue elliptic low-pass prototype, for converters with minimum phase. */
#ifndef SIM_ELLIPTIC_H
#define SIM_ELLIPTIC_H

#include <complex.h>

enum { SIM_ELLIPTIC_ORDER = 8 };

/* Step response as 1 + sum_i residue_i exp(pole_i t), t >= 0, pass-band edge
 * at 1 rad/s, gain 1 at 0. */
typedef struct sim_elliptic {
    double complex pole[SIM_ELLIPTIC_ORDER], residue[SIM_ELLIPTIC_ORDER];
} sim_elliptic;
sim_elliptic sim_elliptic_design(double ripple_db, double stop_db);
double sim_elliptic_step(const sim_elliptic *filter, double t);

#endif
