/* Sorting of long series with few different values, as widths in steps of a
 * recorder's clock are: quicksort that parts in three (Bentley and McIlroy,
 * "Engineering a sort function", Software: Practice and Experience 23, 1993)
 * takes a pass a different value's halving, where GSL's heapsort takes one a
 * value's; that one finishes what degenerates. */
#include "stats/order.h"

#include <gsl/gsl_sort.h>
#include <math.h>

#define FEW 16

static void insert(double *values, size_t n) {
    for (size_t i = 1; i < n; i++) {
        double value = values[i];
        size_t at = i;
        for (; at > 0 && values[at - 1] > value; at--)
            values[at] = values[at - 1];
        values[at] = value;
    }
}

static double middle_of(double a, double b, double c) {
    if (a < b)
        return b < c ? b : (a < c ? c : a);
    return a < c ? a : (b < c ? c : b);
}

static double pivot_of(const double *values, size_t n) {
    size_t step = n / 8, last = n - 1;
    if (n < 8 * FEW)
        return middle_of(values[0], values[n / 2], values[last]);
    return middle_of(middle_of(values[0], values[step], values[2 * step]),
                     middle_of(values[n / 2 - step], values[n / 2], values[n / 2 + step]),
                     middle_of(values[last - 2 * step], values[last - step], values[last]));
}

/* Less than the pivot, then equal to it, then more; *less and *more are where
 * the middle part begins and ends. */
static void part(double *values, size_t n, double pivot, size_t *less, size_t *more) {
    size_t low = 0, at = 0, high = n;
    while (at < high) {
        double value = values[at];
        if (value < pivot) {
            values[at++] = values[low];
            values[low++] = value;
        } else if (value > pivot) {
            values[at] = values[--high];
            values[high] = value;
        } else {
            at++;
        }
    }
    *less = low;
    *more = high;
}

static void sort_to_depth(double *values, size_t n, unsigned depth) {
    while (n > FEW) {
        if (depth-- == 0) {
            gsl_sort(values, 1, n);
            return;
        }
        size_t less, more;
        part(values, n, pivot_of(values, n), &less, &more);
        if (less < n - more) { /* the shorter part by a call: the stack stays small */
            sort_to_depth(values, less, depth);
            values += more;
            n -= more;
        } else {
            sort_to_depth(values + more, n - more, depth);
            n = less;
        }
    }
    insert(values, n);
}

/* More partings than this: the pivots are bad ones. */
static unsigned depth_for(size_t n) {
    unsigned depth = 2;
    for (size_t rest = n; rest > 0; rest /= 2)
        depth += 2;
    return depth;
}

void spw_sort(double *values, size_t n) {
    sort_to_depth(values, n, depth_for(n));
}

void spw_select(double *values, size_t n, size_t k) {
    for (unsigned depth = depth_for(n); n > FEW && depth > 0; depth--) {
        size_t less, more;
        part(values, n, pivot_of(values, n), &less, &more);
        if (k >= less && k < more)
            return;
        if (k < less) {
            n = less;
        } else {
            values += more;
            n -= more;
            k -= more;
        }
    }
    spw_sort(values, n);
}

double spw_quantile(double *values, size_t n, double p) {
    if (n == 0 || !(p >= 0 && p <= 1))
        return NAN;
    double place = p * (double)(n - 1), above = INFINITY;
    size_t k = (size_t)place;
    spw_select(values, n, k);
    if (k + 1 == n)
        return values[k];
    for (size_t i = k + 1; i < n; i++)
        above = values[i] < above ? values[i] : above;
    double share = place - (double)k; /* in GSL's order of operations */
    return (1 - share) * values[k] + share * above;
}
