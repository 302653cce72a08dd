#include "edges/dense.h"

#include "edges/two.h"
#include "edges/wide.h"

#include <math.h>

enum { PANEL = 32, ROWS = 3, COLUMNS = 8, LONGEST = 128 };

/* COLUMNS rows side by side: those of them that meet a number of another row lie together. */
static void pack(const double *row, size_t apart, size_t length, double *packed) {
    for (size_t k = 0; k < length; k++)
        for (size_t c = 0; c < COLUMNS; c++)
            packed[k * COLUMNS + c] = row[c * apart + k];
}

/* Three rows of a less the products of three with the packed ones. */
SPW_WIDE void spw_dense_less_three(double *a, size_t stride, const double *x, size_t apart,
                                   const double *packed, size_t length) {
    const double *y = x + apart, *z = y + apart;
    spw_quad x0 = {0}, x1 = {0}, y0 = {0}, y1 = {0}, z0 = {0}, z1 = {0};
    for (size_t k = 0; k < length; k++) {
        spw_quad p = SPW_QUAD_OF(packed + k * COLUMNS), q = SPW_QUAD_OF(packed + k * COLUMNS + 4);
        x0 += x[k] * p;
        x1 += x[k] * q;
        y0 += y[k] * p;
        y1 += y[k] * q;
        z0 += z[k] * p;
        z1 += z[k] * q;
    }
    double *b = a + stride, *c = b + stride;
    SPW_QUAD(a) -= x0;
    SPW_QUAD(a + 4) -= x1;
    SPW_QUAD(b) -= y0;
    SPW_QUAD(b + 4) -= y1;
    SPW_QUAD(c) -= z0;
    SPW_QUAD(c + 4) -= z1;
}

static void less_part(double *a, size_t stride, const double *row, size_t apart, size_t n,
                      size_t length) {
    double packed[LONGEST * COLUMNS];
    for (size_t j = 0; j < n; j += COLUMNS) {
        size_t i = j, end = j + COLUMNS;
        if (end <= n) {
            pack(row + j * apart, apart, length, packed);
            for (; i + ROWS <= n; i += ROWS)
                spw_dense_less_three(a + i * stride + j, stride, row + i * apart, apart, packed,
                                     length);
        }
        for (; i < n; i++) /* what does not fill a group */
            for (size_t at = j; at <= i && at < end; at++)
                a[i * stride + at] -= spw_dot(row + i * apart, row + at * apart, length);
    }
}

void spw_dense_less(double *a, size_t stride, const double *row, size_t apart, size_t n,
                    size_t length) {
    for (size_t from = 0; from < length; from += LONGEST) {
        size_t part = length - from < LONGEST ? length - from : LONGEST;
        less_part(a, stride, row + from, apart, n, part);
    }
}

bool spw_dense_factor(double *a, size_t n) {
    for (size_t from = 0; from < n; from += PANEL) {
        size_t to = from + PANEL < n ? from + PANEL : n;
        for (size_t i = from; i < n; i++) {
            double *row = a + i * n + from;
            for (size_t j = from; j < to && j <= i; j++) {
                const double *other = a + j * n + from;
                double left = a[i * n + j] - spw_dot(row, other, j - from);
                if (j < i)
                    a[i * n + j] = left / a[j * n + j];
                else if (left > 0)
                    a[i * n + i] = sqrt(left);
                else
                    return false;
            }
        }
        if (to < n)
            spw_dense_less(a + to * n + to, n, a + to * n + from, n, n - to, PANEL);
    }
    return true;
}

void spw_dense_solve(const double *a, size_t n, double *b) {
    for (size_t i = 0; i < n; i++)
        b[i] = (b[i] - spw_dot(a + i * n, b, i)) / a[i * n + i];
    for (size_t i = n; i-- > 0;) {
        b[i] /= a[i * n + i];
        spw_add_times(b, -b[i], a + i * n, i);
    }
}
