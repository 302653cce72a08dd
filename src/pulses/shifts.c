#include "pulses/shifts.h"
#include "base/array.h"
#include "stats/order.h"

#include <math.h>
#include <stdlib.h>

/* Fewer intervals tell no lattice. */
enum { LEAST_INTERVALS = 12 };
/* An interval is off the lattice when it differs from whole frames by so many robust sd,
 * and by this share of a frame: software that wakes late by its usual jitter never is. */
static const double OFF_SD = 20, OFF_SHARE = 0.004;
/* Sampled instants differ by two steps at most. */
static const double OFF_STEPS = 3;
/* Slow drift of the period is followed; a burst of other frames is not. */
static const double FOLLOWED = 0.02;

typedef struct lattice {
    const double *interval_us, *about_us;
    double usual_us;   /* median of the regime's intervals */
    double scatter_us; /* of one interval about whole frames */
    double least_us;   /* what counts as off */
} lattice;

static double period_at(const lattice *l, size_t i) {
    bool followed = fabs(l->about_us[i] - l->usual_us) <= FOLLOWED * l->usual_us;
    return followed ? l->about_us[i] : l->usual_us;
}

/* What an interval has more than whole frames. */
static double rest(double interval_us, double period_us) {
    return interval_us - round(interval_us / period_us) * period_us;
}

static bool is_off(const lattice *l, size_t i) {
    return fabs(rest(l->interval_us[i], period_at(l, i))) > l->least_us;
}

/* Scatter of the intervals [first, end): what a normal distribution's would be, from the
 * median or the 90 % quantile of the deviations, whichever says more. False for too few. */
static bool scatter_of(lattice *l, size_t first, size_t end, double *work) {
    size_t n = 0;
    for (size_t i = first; i < end; i++)
        if (!isnan(l->interval_us[i]))
            work[n++] = l->interval_us[i];
    if (n < LEAST_INTERVALS)
        return false;
    l->usual_us = spw_quantile(work, n, 0.5);
    n = 0;
    for (size_t i = first; i < end; i++)
        if (!isnan(l->interval_us[i]))
            work[n++] = fabs(rest(l->interval_us[i], period_at(l, i)));
    l->scatter_us = fmax(1.4826 * spw_quantile(work, n, 0.5), spw_quantile(work, n, 0.9) / 1.645);
    return true;
}

/* Mean of the single frames next to [i, to), of intervals [first, last). */
static double period_about(const lattice *l, size_t first, size_t last, size_t i, size_t to) {
    enum { BESIDE = 16 };
    size_t from = i - first > BESIDE ? i - BESIDE : first;
    size_t end = last - to > BESIDE ? to + BESIDE : last;
    double sum = 0, n = 0, usual = period_at(l, i > first ? i - 1 : i);
    for (size_t k = from; k < end; k++) {
        bool single = (k < i || k >= to) && fabs(l->interval_us[k] - usual) <= l->least_us;
        sum += single ? l->interval_us[k] : 0;
        n += single;
    }
    return n > 0 ? sum / n : usual;
}

/* A group of neighbouring intervals that are off: [i, to). */
static spw_shift group(const lattice *l, const spw_picked *picked, double period, size_t i,
                       size_t to) {
    double sum = 0, least = INFINITY;
    for (size_t k = i; k < to; k++) {
        sum += l->interval_us[k];
        least = fmin(least, l->interval_us[k]);
    }
    spw_shift s = {.before = picked->at[i],
                   .after = picked->at[to],
                   .period_us = period,
                   .scatter_us = l->scatter_us,
                   .off_us = rest(sum, period),
                   .least_us = least};
    double slots = round(sum / period), pulses = (double)(to - i);
    s.kept = fabs(s.off_us) <= l->least_us;
    s.extra = s.kept && pulses > slots ? (size_t)(pulses - slots) : 0;
    return s;
}

static spw_status add(spw_train *train, spw_shift shift) {
    if (train->shifts == SPW_EVENTS_MAX)
        return SPW_OK;
    spw_status status = spw_array_room((void **)&train->shift, &train->shift_room, train->shifts, 1,
                                       sizeof *train->shift);
    if (status == SPW_OK)
        train->shift[train->shifts++] = shift;
    return status;
}

spw_status spw_shifts_find(spw_train *train, const spw_picked *picked, const double *interval_us,
                           const double *about_us, size_t first, size_t end) {
    if (end - first < LEAST_INTERVALS)
        return SPW_OK;
    size_t last = end - 1; /* intervals: [first, last) */
    double *work = malloc((last - first) * sizeof *work);
    if (work == NULL)
        return SPW_ERR_MEMORY;
    lattice l = {.interval_us = interval_us, .about_us = about_us};
    bool even = scatter_of(&l, first, last, work);
    free(work);
    double step_us = train->resolution_us > 0 ? train->resolution_us : 0;
    l.least_us = fmax(OFF_SD * l.scatter_us, fmax(OFF_SHARE * l.usual_us, OFF_STEPS * step_us));
    if (!even || l.least_us > 0.4 * l.usual_us)
        return SPW_OK;
    /* an interval at the border of two regimes may be a frame of the other one */
    for (size_t i = first; i < last; i++) {
        if (isnan(interval_us[i]) || !is_off(&l, i))
            continue;
        size_t to = i + 1;
        while (to < last && !isnan(interval_us[to]) && is_off(&l, to))
            to++;
        bool border = (i == first && first > 0) || (to == last && end < picked->n);
        spw_status status =
            border ? SPW_OK
                   : add(train, group(&l, picked, period_about(&l, first, last, i, to), i, to));
        if (status != SPW_OK)
            return status;
        i = to;
    }
    return SPW_OK;
}
