#include "edges/tilt.h"

#include <math.h>

enum { ENOUGH = 8 };

spw_tilts spw_tilts_clipped(const spw_mark *marks, const spw_fit *fit, size_t n, double noise) {
    double count[2] = {0}, sum[2] = {0}, square[2] = {0}, gain[2] = {0};
    spw_tilts s = {{0}, {0}};
    for (size_t k = 0; k < n; k++) {
        size_t rises = marks[k].sign > 0;
        if (fit[k].clipped == 0 || !(fit[k].dof > 0))
            continue;
        count[rises]++;
        sum[rises] += fit[k].tilt;
        square[rises] += fit[k].tilt * fit[k].tilt;
        gain[rises] += fit[k].tilt_gain;
    }
    for (size_t d = 0; d < 2; d++) {
        if (count[d] < ENOUGH)
            continue;
        s.mean[d] = sum[d] / count[d];
        double variance = (square[d] - sum[d] * s.mean[d]) / (count[d] - 1);
        double by_noise = noise * noise * gain[d] / count[d];
        /* the variance of n values is known to sqrt(2 / n) of itself */
        variance = fmax(variance - by_noise, by_noise * (sqrt(2 / count[d]) + 1 / count[d]));
        s.sure[d] = noise * noise / variance;
    }
    return s;
}

static bool whole(const spw_fit *fit, size_t reach) {
    return fit->clipped == 0 && fit->dof > 2 * (double)reach - 3;
}

spw_tilts spw_tilts_whole(const spw_mark *marks, const spw_fit *fit, size_t n, size_t reach,
                          size_t *used) {
    double count[2] = {0};
    spw_tilts s = {{0}, {0}};
    for (size_t k = 0; k < n; k++) {
        size_t rises = marks[k].sign > 0;
        if (!whole(&fit[k], reach))
            continue;
        s.mean[rises] += fit[k].tilt;
        count[rises]++;
    }
    *used = (size_t)(count[0] + count[1]);
    for (size_t d = 0; d < 2; d++)
        s.mean[d] = count[d] > 0 ? s.mean[d] / count[d] : 0;
    return s;
}

double spw_tilts_excess(const spw_mark *marks, const spw_fit *fit, size_t n, size_t reach,
                        double noise, const spw_tilts *usual) {
    double square = 0, count = 0, m = 2 * (double)reach + 1;
    for (size_t k = 0; k < n; k++) {
        if (!whole(&fit[k], reach))
            continue;
        double away = fit[k].tilt - usual->mean[marks[k].sign > 0];
        square += away * away;
        count++;
    }
    /* a slope over m equidistant points has the variance 12 / (m (m^2 - 1)) of theirs */
    return count > 0 ? square / count * m * (m * m - 1) / (12 * noise * noise) : 0;
}
