/* Poles and zeros after the classical theory (for instance A. Antoniou,
 * "Digital Filters", elliptic approximation), with Jacobi functions from GSL. */
#include "sim/elliptic.h"

#include <gsl/gsl_sf_ellint.h>
#include <gsl/gsl_sf_elljac.h>
#include <math.h>

/* Parameter m of the selectivity for order n and discrimination m1, by nomes. */
static double degree(int n, double m1) {
    double k1 = gsl_sf_ellint_Kcomp(sqrt(m1), GSL_PREC_DOUBLE);
    double k1c = gsl_sf_ellint_Kcomp(sqrt(1 - m1), GSL_PREC_DOUBLE);
    double q = exp(-M_PI * k1c / k1 / n);
    double top = 0, bottom = 0.5;
    for (int i = 0; i < 8; i++) {
        top += pow(q, i * (i + 1));
        bottom += pow(q, (i + 1) * (i + 1));
    }
    return 16 * q * pow(top / (2 * bottom), 4);
}

sim_elliptic sim_elliptic_design(double ripple_db, double stop_db) {
    enum { N = SIM_ELLIPTIC_ORDER };
    sim_elliptic filter;
    double complex zero[N];
    double eps2 = pow(10, 0.1 * ripple_db) - 1;
    double m1 = eps2 / (pow(10, 0.1 * stop_db) - 1);
    double m = degree(N, m1);
    double k = gsl_sf_ellint_Kcomp(sqrt(m), GSL_PREC_DOUBLE);
    double k1 = gsl_sf_ellint_Kcomp(sqrt(m1), GSL_PREC_DOUBLE);
    double r = gsl_sf_ellint_F(atan(1 / sqrt(eps2)), sqrt(1 - m1), GSL_PREC_DOUBLE);
    double sv, cv, dv;
    gsl_sf_elljac_e(k * r / (N * k1), 1 - m, &sv, &cv, &dv);
    for (int i = 0; i < N / 2; i++) {
        double s, c, d;
        gsl_sf_elljac_e((2 * i + 1) * k / N, m, &s, &c, &d);
        zero[2 * i] = I / (sqrt(m) * s);
        filter.pole[2 * i] = -(c * d * sv * cv + I * s * dv) / (1 - d * d * sv * sv);
        zero[2 * i + 1] = conj(zero[2 * i]);
        filter.pole[2 * i + 1] = conj(filter.pole[2 * i]);
    }
    double complex gain = 1;
    for (int i = 0; i < N; i++)
        gain *= filter.pole[i] / zero[i];
    for (int i = 0; i < N; i++) { /* residue of H(s)/s at pole i */
        double complex p = filter.pole[i], value = gain / p;
        for (int j = 0; j < N; j++)
            value *= (p - zero[j]) / (j == i ? 1 : p - filter.pole[j]);
        filter.residue[i] = value;
    }
    return filter;
}

double sim_elliptic_step(const sim_elliptic *filter, double t) {
    double complex sum = 1;
    for (int i = 0; i < SIM_ELLIPTIC_ORDER; i++)
        sum += filter->residue[i] * cexp(filter->pole[i] * t);
    return t < 0 ? 0 : creal(sum);
}
