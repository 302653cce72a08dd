/* The noise of a width series that also has steps, ramps and outliers. */
#include "pulses/noise.h"
#include "stats/order.h"

#include <math.h>
#include <stdlib.h>

/* Second differences at a lag: straight ramps vanish, steps touch 2 lag values.
 * Their sd is sqrt(6) that of white noise. Two robust scales, the larger counts:
 * the median of the magnitudes, and the rms of the smaller 70 % of them (which
 * still sees widths that toggle between two steps of the controller, where the
 * median is 0, and not yet the steps between holds of 8 frames). Factors for the
 * normal distribution: 1/0.6745; the second moment of the central 70 % is 0.3097. */
static const double CENTRAL = 0.7, CENTRAL_MOMENT = 0.3097;
/* Differences of neighbours beyond so many sd are steps of the command. */
static const double JUMP = 8;

/* jumps[i]: steps among the first i + 1 values. */
static void count_jumps(const double *w, size_t n, double least, uint32_t *jumps) {
    jumps[0] = 0;
    for (size_t i = 1; i < n; i++)
        jumps[i] = jumps[i - 1] + (fabs(w[i] - w[i - 1]) > least);
}

/* Stretches with a step in them are left out where the steps are known. */
static double scale_at_lag(const double *w, size_t n, size_t lag, const uint32_t *jumps,
                           double *work) {
    size_t k = 0;
    for (size_t i = lag; i + lag < n; i++)
        if (jumps == NULL || jumps[i + lag] == jumps[i - lag])
            work[k++] = fabs(w[i + lag] - 2 * w[i] + w[i - lag]);
    if (k == 0)
        return 0;
    double median = spw_quantile(work, k, 0.5) / 0.6745;
    size_t central = (size_t)ceil(CENTRAL * (double)k);
    spw_select(work, k, central - 1);
    double sum = 0;
    for (size_t i = 0; i < central; i++)
        sum += work[i] * work[i];
    double rms = sqrt(sum / (double)central / CENTRAL_MOMENT);
    return fmax(median, rms) / sqrt(6.0);
}

/* Variance of second differences of first-order noise, over 6 sd^2. */
static double ratio_of(double phi, double lag) {
    double r = pow(phi, lag);
    return (6 - 8 * r + 2 * r * r) / 6;
}

/* More correlation than this is movement: short holds look like it at the far lag. */
static const double LARGEST = 0.65;

/* The correlation that makes the scales at lag 1 and at the long lag agree. */
static double correlation(double near, double far, double lag) {
    if (!(far > near) || !(near > 0))
        return 0;
    double wanted = near * near / (far * far);
    double low = 0, high = LARGEST;
    for (int i = 0; i < 40; i++) {
        double middle = 0.5 * (low + high);
        if (ratio_of(middle, 1) / ratio_of(middle, lag) > wanted)
            low = middle;
        else
            high = middle;
    }
    return low;
}

enum { FAR = 5 };

spw_status spw_noise_estimate(const double *widths, size_t n, double floor_us, spw_noise *noise) {
    double *work = malloc((n + 1) * sizeof *work);
    uint32_t *jumps = malloc((n + 1) * sizeof *jumps);
    if (work == NULL || jumps == NULL) {
        free(work);
        free(jumps);
        return SPW_ERR_MEMORY;
    }
    double near = scale_at_lag(widths, n, 1, NULL, work);
    count_jumps(widths, n, JUMP * fmax(near, floor_us), jumps);
    near = scale_at_lag(widths, n, 1, jumps, work);
    double far = scale_at_lag(widths, n, FAR, jumps, work);
    free(work);
    free(jumps);
    double phi = near > floor_us ? correlation(near, far, FAR) : 0;
    double white = fmax(floor_us, near / sqrt(ratio_of(phi, 1)));
    *noise = spw_noise_of(white, phi, (double)n);
    return SPW_OK;
}

spw_noise spw_noise_of(double sd_us, double phi, double n) {
    /* The correlation is known to about 1/sqrt n; too small a one would shatter holds. */
    double safe = fmax(0, fmin(LARGEST, phi + 1 / sqrt(fmax(1, n))));
    return (spw_noise){sd_us, sd_us * sqrt((1 + safe) / (1 - safe))};
}

/* k values in order with one more, or with one less; how many there are. */
static size_t put_in(double *near, size_t k, double value) {
    size_t at = k;
    for (; at > 0 && near[at - 1] > value; at--)
        near[at] = near[at - 1];
    near[at] = value;
    return k + 1;
}

static size_t take_out(double *near, size_t k, double value) {
    size_t at = 0;
    while (at + 1 < k && near[at] < value)
        at++;
    for (; at + 1 < k; at++)
        near[at] = near[at + 1];
    return k - 1;
}

void spw_local_medians(const double *values, size_t n, size_t about, double *median) {
    double near[SPW_ABOUT_MOST + 1] = {0};
    size_t k = 0, next = 0, half = about / 2;
    for (size_t i = 0; i < n; i++) {
        for (; next < n && next <= i + half; next++)
            k = isnan(values[next]) ? k : put_in(near, k, values[next]);
        if (i > half && !isnan(values[i - half - 1]))
            k = take_out(near, k, values[i - half - 1]);
        double lower = k > 0 ? near[(k - 1) / 2] : (double)NAN;
        median[i] = k % 2 == 1 ? lower : 0.5 * (lower + near[k / 2]);
    }
}
