/* Where the mean of a series changes: optimal partitioning with functional
 * pruning (FPOP: Maidstone, Hocking, Fearnhead, Rigaill, "On optimal multiple
 * changepoint algorithms for large data", Statistics and Computing 27, 2017).
 *
 * F(t), the best cost of the first t values, is the least over s of
 * F(s) + C(s+1..t) + penalty. As a function of the last segment's mean m,
 * candidate s costs q_s(m) = F(s) + penalty + sum over s < i <= t of (y_i - m)^2.
 * Every value adds the same (y - m)^2 to all candidates, so one that is beaten
 * at an m stays beaten there: each candidate keeps only the stretches of m where
 * it is best, and goes when none is left. That is exact, as the pruning of
 * PELT (Killick, Fearnhead, Eckley 2012) is, but also prunes while nothing
 * changes, where PELT keeps every s and takes n^2 steps.
 *
 * A minimum length L enters candidate s only at time s + L; the argument above
 * does not care when a candidate enters. */
#include "base/array.h"
#include "spanwright/stats.h"

#include <math.h>
#include <stdlib.h>

typedef struct candidate {
    size_t start;            /* values before the segment */
    double before;           /* F(start) + penalty */
    double n, mean, squares; /* of the values since start; squares about the mean */
    double low, high;        /* means at which it is no worse than the newest candidate */
    bool alive;
} candidate;

typedef struct piece {
    double low, high; /* stretch of means */
    size_t owner;     /* slot of the candidate that is best there */
} piece;

typedef struct search {
    const double *values;
    double scale, penalty;
    size_t minimum;
    double *cost;     /* F(t), t = 0 .. n */
    size_t *previous; /* start of the last segment of the best partition of t values */
    candidate *slots;
    size_t n_slots, slot_room;
    piece *pieces; /* upwards, gapless */
    size_t n_pieces, piece_room;
    piece *divided; /* the next `pieces` while it is made */
    size_t n_divided, divided_room;
} search;

/* Value i in standard deviations from the first value. */
static double scaled(const search *f, size_t i) {
    return (f->values[i] - f->values[0]) / f->scale;
}

static void candidate_add(candidate *c, double y) {
    double d = y - c->mean;
    c->n += 1;
    c->mean += d / c->n;
    c->squares += d * (y - c->mean);
}

/* Where `old` is no worse than `new`, which started later: their difference is
 * the sum of squares of the values between the two starts plus a constant, so
 * those means are one interval about these values' own mean. */
static void compare(candidate *old, const candidate *new) {
    double n = old->n - new->n;
    double mean = old->mean + (old->mean - new->mean) * new->n / n;
    double apart = mean - new->mean;
    double squares = old->squares - new->squares - apart *apart *n *new->n / old->n;
    double room = (new->before - old->before - squares) / n;
    old->low = room >= 0 ? mean - sqrt(room) : INFINITY;
    old->high = room >= 0 ? mean + sqrt(room) : -INFINITY;
}

/* Puts a candidate for a segment of values start .. t-1 into a free slot. */
static spw_status candidate_enter(search *f, size_t start, size_t t, size_t *slot) {
    candidate c = {.start = start, .before = f->cost[start] + f->penalty, .alive = true};
    for (size_t i = start; i < t; i++)
        candidate_add(&c, scaled(f, i));
    size_t at = 0;
    while (at < f->n_slots && f->slots[at].alive)
        at++;
    if (at == f->n_slots) {
        spw_status status =
            spw_array_room((void **)&f->slots, &f->slot_room, at, 1, sizeof *f->slots);
        if (status != SPW_OK)
            return status;
        f->n_slots++;
    }
    f->slots[at] = c;
    *slot = at;
    return SPW_OK;
}

static void divided_push(search *f, double low, double high, size_t owner) {
    if (f->n_divided > 0 && f->divided[f->n_divided - 1].owner == owner)
        f->divided[f->n_divided - 1].high = high;
    else
        f->divided[f->n_divided++] = (piece){low, high, owner};
}

/* Gives the newest candidate every stretch where it beats the owner. */
static spw_status divide(search *f, size_t newest) {
    spw_status status = spw_array_room((void **)&f->divided, &f->divided_room, 0, 3 * f->n_pieces,
                                       sizeof *f->divided);
    if (status != SPW_OK)
        return status;
    f->n_divided = 0;
    for (size_t i = 0; i < f->n_pieces; i++) {
        piece p = f->pieces[i];
        const candidate *owner = &f->slots[p.owner]; /* its own stretch may be no number */
        double low = owner->low > p.low ? owner->low : p.low;
        double high = owner->high < p.high ? owner->high : p.high;
        if (low > high) {
            divided_push(f, p.low, p.high, newest);
            continue;
        }
        if (p.low < low)
            divided_push(f, p.low, low, newest);
        divided_push(f, low, high, p.owner);
        if (high < p.high)
            divided_push(f, high, p.high, newest);
    }
    piece *made = f->divided;
    size_t room = f->divided_room;
    f->divided = f->pieces;
    f->divided_room = f->piece_room;
    f->pieces = made;
    f->piece_room = room;
    f->n_pieces = f->n_divided;
    return SPW_OK;
}

/* Lets the segment that starts at `start` compete from time t on. */
static spw_status admit(search *f, size_t start, size_t t) {
    size_t newest = 0;
    spw_status status = candidate_enter(f, start, t, &newest);
    if (status != SPW_OK)
        return status;
    for (size_t i = 0; i < f->n_slots; i++)
        if (f->slots[i].alive && i != newest)
            compare(&f->slots[i], &f->slots[newest]);
    status = divide(f, newest);
    if (status != SPW_OK)
        return status;
    for (size_t i = 0; i < f->n_slots; i++)
        f->slots[i].alive = false;
    for (size_t i = 0; i < f->n_pieces; i++)
        f->slots[f->pieces[i].owner].alive = true;
    return SPW_OK;
}

/* Every mean of a segment lies between the least and the largest value. */
static spw_status start_search(search *f, size_t n) {
    f->cost = n < SIZE_MAX / sizeof *f->cost ? malloc((n + 1) * sizeof *f->cost) : NULL;
    f->previous = n < SIZE_MAX / sizeof *f->cost ? malloc((n + 1) * sizeof *f->previous) : NULL;
    if (f->cost == NULL || f->previous == NULL)
        return SPW_ERR_MEMORY;
    f->cost[0] = -f->penalty;
    f->previous[0] = 0;
    spw_status status =
        spw_array_room((void **)&f->pieces, &f->piece_room, 0, 1, sizeof *f->pieces);
    if (status != SPW_OK)
        return status;
    piece whole = {0, 0, 0};
    for (size_t i = 0; i < n; i++) {
        whole.low = fmin(whole.low, scaled(f, i));
        whole.high = fmax(whole.high, scaled(f, i));
    }
    size_t slot = 0;
    status = candidate_enter(f, 0, 0, &slot);
    f->pieces[0] = whole;
    f->n_pieces = 1;
    return status;
}

static spw_status run_search(search *f, size_t n) {
    for (size_t t = 1; t <= n; t++) {
        double y = scaled(f, t - 1);
        for (size_t i = 0; i < f->n_slots; i++)
            if (f->slots[i].alive)
                candidate_add(&f->slots[i], y);
        if (t >= 2 * f->minimum) {
            spw_status status = admit(f, t - f->minimum, t);
            if (status != SPW_OK)
                return status;
        }
        f->cost[t] = INFINITY;
        f->previous[t] = 0; /* stays only where a value was not finite */
        for (size_t i = 0; i < f->n_slots; i++) {
            const candidate *c = &f->slots[i];
            if (c->alive && c->before + c->squares < f->cost[t]) {
                f->cost[t] = c->before + c->squares;
                f->previous[t] = c->start;
            }
        }
    }
    return SPW_OK;
}

static spw_status trace_back(const search *f, size_t n, size_t **ends, size_t *segments) {
    size_t count = 0;
    for (size_t t = n; t > 0; t = f->previous[t])
        count++;
    size_t *found = malloc(count * sizeof *found);
    if (found == NULL)
        return SPW_ERR_MEMORY;
    size_t at = count;
    for (size_t t = n; t > 0; t = f->previous[t])
        found[--at] = t;
    *ends = found;
    *segments = count;
    return SPW_OK;
}

spw_status spw_change_points(const double *values, size_t n, double scale, double penalty,
                             size_t minimum_length, size_t **ends, size_t *segments) {
    if (n == 0)
        return SPW_ERR_EMPTY;
    if (!(scale > 0) || isinf(scale) || !(penalty >= 0) || isinf(penalty))
        return SPW_ERR_ARGUMENT;
    search f = {.values = values,
                .scale = scale,
                .penalty = penalty,
                .minimum = minimum_length > 0 ? minimum_length : 1};
    if (f.minimum > n)
        f.minimum = n;
    spw_status status = start_search(&f, n);
    if (status == SPW_OK)
        status = run_search(&f, n);
    if (status == SPW_OK)
        status = trace_back(&f, n, ends, segments);
    free(f.cost);
    free(f.previous);
    free(f.slots);
    free(f.pieces);
    free(f.divided);
    return status;
}
