/* Long memory: is noise of first order all there is to a series, or does a slow part stand
 * under it (1/f noise, a weak walk) that decides how far its mean can be trusted?
 *
 * Noise of first order, x_i = phi x_{i-1} + e_i, is compared by likelihood, over all stretches
 * of one source (one alone is mostly too short to tell), with
 * - a slow level of that kind under white noise, x_i = phi x_{i-1} + e_i - theta e_{i-1} with
 *   phi near 1 (Box and Jenkins);
 * - 1/f noise, as a sum of first-order noises of equal variance an octave apart, foretold by
 *   its autocorrelation (Levinson 1947, Durbin 1960). */
#include "spanwright/stats.h"

#include <math.h>
#include <string.h>

static const double SLOW[] = {0.9, 0.95, 0.98, 0.995};
static const double BELOW[] = {0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8}; /* phi - theta */
/* Memory of the fastest octave, in values. */
static const double FASTEST[] = {0.35, 0.7, 1, 1.4, 2, 4};
enum {
    SLOWS = sizeof SLOW / sizeof SLOW[0],
    BELOWS = sizeof BELOW / sizeof BELOW[0],
    OCTAVES = 9,
    ORDER = 64 /* values that one is foretold from */
};
_Static_assert(SLOWS *BELOWS == SPW_MEMORY_SLOW, "models with a slow part");
_Static_assert(sizeof FASTEST / sizeof FASTEST[0] == SPW_MEMORY_OCTAVES, "models of 1/f");

static void add_slow(spw_memory *memory, const double *values, size_t n, double mean) {
    double miss[SPW_MEMORY_SLOW], before = values[0] - mean;
    for (size_t k = 0; k < SPW_MEMORY_SLOW; k++)
        miss[k] = before;
    for (size_t i = 1; i < n; i++) {
        double now = values[i] - mean;
        memory->squares += now * now;
        memory->products += now * before;
        memory->behind += before * before;
        for (size_t k = 0; k < SPW_MEMORY_SLOW; k++) {
            double phi = SLOW[k / BELOWS], theta = phi - BELOW[k % BELOWS];
            miss[k] = now - phi * before + theta * miss[k];
            memory->slow[k] += miss[k] * miss[k];
        }
        before = now;
    }
}

/* The best linear prediction from `order` values: weight[j] of the one j before. */
typedef struct predictor {
    double correlation[ORDER + 1], weight[ORDER + 1];
    double variance; /* of what it misses */
    size_t order;
} predictor;

static void one_more(predictor *p) {
    size_t next = p->order + 1;
    double before[ORDER + 1], reflection = p->correlation[next];
    memcpy(before, p->weight, sizeof before);
    for (size_t j = 1; j < next; j++)
        reflection -= before[j] * p->correlation[next - j];
    reflection /= p->variance;
    for (size_t j = 1; j < next; j++)
        p->weight[j] = before[j] - reflection * before[next - j];
    p->weight[next] = reflection;
    p->variance *= 1 - reflection * reflection;
    p->order = next;
}

static void add_octaves(spw_memory *memory, size_t model, const double *values, size_t n,
                        double mean) {
    predictor p = {.variance = 1};
    for (size_t k = 0; k <= ORDER; k++)
        for (int i = 0; i < OCTAVES; i++)
            p.correlation[k] += exp(-(double)k / ldexp(FASTEST[model], i)) / OCTAVES;
    for (size_t i = 1; i < n; i++) {
        if (p.order < ORDER)
            one_more(&p);
        double miss = values[i] - mean;
        for (size_t j = 1; j <= p.order; j++)
            miss -= p.weight[j] * (values[i - j] - mean);
        memory->octaves[model] += miss * miss / p.variance;
        memory->log_variance[model] += log(p.variance);
    }
}

void spw_memory_add(spw_memory *memory, const double *values, size_t n) {
    if (n < 2)
        return;
    double mean = 0;
    for (size_t i = 0; i < n; i++)
        mean += (values[i] - values[0]) / (double)n;
    mean += values[0];
    add_slow(memory, values, n, mean);
    for (size_t k = 0; k < SPW_MEMORY_OCTAVES; k++)
        add_octaves(memory, k, values, n, mean);
    memory->n += (double)n - 1;
}

/* Twice the logarithm of the likelihood ratio. Without a slow part under white noise it is over
 * 6 in less than one source of 200. Where neighbours are correlated 1/f noise hides longer: of
 * 750 values of it one in ten gives less than -7, of first-order noise of 0.8 one in thirty
 * more; fewer values tell less. */
static const double SURE = 6, CORRELATED = 0.3, OPEN = -7, OPEN_A_VALUE = -1.0 / 107;

bool spw_memory_is_long(const spw_memory *memory) {
    double n = memory->n;
    if (!(n > 0) || !(memory->behind > 0))
        return false;
    double phi = fmax(-1, fmin(1, memory->products / memory->behind));
    double first = memory->squares - 2 * phi * memory->products + phi * phi * memory->behind;
    double slow = memory->slow[0];
    for (size_t k = 1; k < SPW_MEMORY_SLOW; k++)
        slow = fmin(slow, memory->slow[k]);
    if (!(slow > 0) || !(first > 0))
        return false;
    double cost = n * log(slow);
    for (size_t k = 0; k < SPW_MEMORY_OCTAVES; k++)
        cost = fmin(cost, n * log(memory->octaves[k]) + memory->log_variance[k]);
    return n * log(first) - cost > (phi < CORRELATED ? SURE : fmax(OPEN, OPEN_A_VALUE * n));
}
