/* The strongest line of a series' spectrum.
 *
 * FFTW's planner works on state of its own that all threads share; making and
 * destroying plans is kept in this file behind one mutex, the library's only
 * writable static object. */
#include "stats/spectrum.h"
#include "spanwright/stats.h"

#include <math.h>
#include <pthread.h>

static pthread_mutex_t planner = PTHREAD_MUTEX_INITIALIZER;

/* Longer series are cut: 2^17 values hold their transform in 3 MiB and resolve
 * a line better than a controller's clock keeps it. */
#define LONGEST ((size_t)1 << 17)

bool spw_transform(double *in, fftw_complex *out, size_t n) {
    pthread_mutex_lock(&planner);
    fftw_plan plan = fftw_plan_dft_r2c_1d((int)n, in, out, FFTW_ESTIMATE);
    pthread_mutex_unlock(&planner);
    if (plan == NULL)
        return false;
    fftw_execute(plan);
    pthread_mutex_lock(&planner);
    fftw_destroy_plan(plan);
    pthread_mutex_unlock(&planner);
    return true;
}

static void remove_mean(const double *x, size_t n, double *out) {
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += x[i] - x[0];
    double mean = sum / (double)n;
    for (size_t i = 0; i < n; i++)
        out[i] = (x[i] - x[0]) - mean;
}

static double power(const fftw_complex value) {
    return creal(value) * creal(value) + cimag(value) * cimag(value);
}

spw_status spw_strongest_line(const double *x, size_t n, double *cycles_per_sample,
                              double *amplitude, double *p_value) {
    if (n < 3)
        return SPW_ERR_EMPTY;
    n = n < LONGEST ? n : LONGEST;
    size_t bins = (n - 1) / 2;
    spw_status status = SPW_ERR_MEMORY;
    double *in = fftw_alloc_real(n);
    fftw_complex *out = fftw_alloc_complex(n / 2 + 1);
    if (in == NULL || out == NULL)
        goto done;
    remove_mean(x, n, in);
    if (!spw_transform(in, out, n))
        goto done;
    double total = 0;
    size_t best = 1;
    for (size_t k = 1; k <= bins; k++) {
        total += power(out[k]);
        if (power(out[k]) > power(out[best]))
            best = k;
    }
    *cycles_per_sample = (double)best / (double)n;
    *amplitude = 2 * sqrt(power(out[best])) / (double)n;
    *p_value = total > 0 ? spw_fisher_g_p(power(out[best]) / total, bins) : 1;
    status = SPW_OK;
done:
    fftw_free(in);
    fftw_free(out);
    return status;
}

/* Fisher 1929; Fuller 1996, p. 363:
 *   P(g > x) = sum over j = 1 .. 1/x of (-1)^(j-1) C(m,j) (1 - j x)^(m-1).
 * The shares are negatively associated, so P(g <= x) is at most
 * exp(-m (1-x)^(m-1)): where that is below 2E-9 the answer is 1, and
 * elsewhere no term passes 5E7, which long double sums to 1E-9. */
double spw_fisher_g_p(double g, size_t m) {
    if (m == 0 || isnan(g))
        return NAN;
    double least = 1 / (double)m; /* the largest of m shares is no smaller */
    if (g <= least)
        return 1;
    if (g >= 1)
        return 0;
    long double x = g;
    long double count = (long double)m;
    if (count * expl((count - 1) * log1pl(-x)) > 20)
        return 1;
    long double log_choose = 0;
    long double sum = 0;
    for (size_t j = 1; j <= m && (long double)j * x < 1; j++) {
        long double at = (long double)j;
        log_choose += logl((count - at + 1) / at);
        long double term = expl(log_choose + (count - 1) * log1pl(-at * x));
        sum += j % 2 == 1 ? term : -term;
        if (term < 1e-20L * fabsl(sum)) /* past the peak: terms rise, then fall for good */
            break;
    }
    return fmin(1, fmax(0, (double)sum));
}
