#include "edges/dense.h"

#include "edges/two.h"
#include "edges/wide.h"

#include <math.h>

enum { ROWS = 4, COLUMNS = SPW_DENSE_ROWS, PANEL = SPW_DENSE_PANEL };

/* Four rows of a less the products of four packed rows with eight. */
static inline __attribute__((always_inline)) void
less_tile(double *a, size_t stride, const double *x, const double *y, size_t length) {
    spw_quad a0 = {0}, a1 = a0, b0 = a0, b1 = a0, c0 = a0, c1 = a0, d0 = a0, d1 = a0;
    for (size_t k = 0; k < length; k++, x += COLUMNS, y += COLUMNS) {
        spw_quad p = SPW_QUAD_OF(y), q = SPW_QUAD_OF(y + 4);
        a0 += x[0] * p;
        a1 += x[0] * q;
        b0 += x[1] * p;
        b1 += x[1] * q;
        c0 += x[2] * p;
        c1 += x[2] * q;
        d0 += x[3] * p;
        d1 += x[3] * q;
    }
    double *b = a + stride, *c = b + stride, *d = c + stride;
    SPW_QUAD(a) -= a0;
    SPW_QUAD(a + 4) -= a1;
    SPW_QUAD(b) -= b0;
    SPW_QUAD(b + 4) -= b1;
    SPW_QUAD(c) -= c0;
    SPW_QUAD(c + 4) -= c1;
    SPW_QUAD(d) -= d0;
    SPW_QUAD(d + 4) -= d1;
}

/* Static, as are all that exist twice: compilers do not agree on what another file, or a
 * program that uses the library, would see of them. */
SPW_WIDE static void less(double *a, size_t stride, const double *packed, size_t depth, size_t n,
                          size_t length) {
    for (size_t i = 0; i < n; i += ROWS)
        for (size_t j = 0; j < i + ROWS; j += COLUMNS)
            less_tile(a + i * stride + j, stride, packed + spw_dense_at(i, 0, depth),
                      packed + spw_dense_at(j, 0, depth), length);
}

void spw_dense_less(double *a, size_t stride, const double *packed, size_t depth, size_t n,
                    size_t length) {
    less(a, stride, packed, depth, n, length);
}

/* The factor of `width` rows whose columns before their own are done. */
static bool factor_block(double *a, size_t stride, size_t width) {
    for (size_t i = 0; i < width; i++) {
        double *row = a + i * stride;
        for (size_t j = 0; j <= i; j++) {
            double left = row[j] - spw_dot(row, a + j * stride, j);
            if (j < i)
                row[j] = left / a[j * stride + j];
            else if (left > 0)
                row[i] = sqrt(left);
            else
                return false;
        }
    }
    return true;
}

/* The factor of rows below the block, eight packed ones at a time. */
SPW_WIDE static void solve_rows(const double *block, size_t stride, double *packed, size_t rows) {
    for (size_t i = 0; i < rows; i += COLUMNS, packed += PANEL * COLUMNS) {
        for (size_t j = 0; j < PANEL; j++) {
            const double *row = block + j * stride;
            spw_quad p = SPW_QUAD_OF(packed + j * COLUMNS),
                     q = SPW_QUAD_OF(packed + j * COLUMNS + 4);
            for (size_t k = 0; k < j; k++) {
                p -= row[k] * SPW_QUAD_OF(packed + k * COLUMNS);
                q -= row[k] * SPW_QUAD_OF(packed + k * COLUMNS + 4);
            }
            SPW_QUAD(packed + j * COLUMNS) = p / row[j];
            SPW_QUAD(packed + j * COLUMNS + 4) = q / row[j];
        }
    }
}

bool spw_dense_factor(double *a, size_t n, double *scratch) {
    size_t stride = spw_dense_stride(n);
    for (size_t from = 0; from < n; from += PANEL) {
        size_t to = from + PANEL;
        double *block = a + from * stride + from;
        if (!factor_block(block, stride, to < n ? PANEL : n - from))
            return false;
        size_t below = to < n ? n - to : 0, rows = spw_dense_rows(below);
        for (size_t i = 0; i < rows; i++)
            for (size_t k = 0; k < PANEL; k++)
                scratch[spw_dense_at(i, k, PANEL)] =
                    i < below ? block[(PANEL + i) * stride + k] : 0;
        solve_rows(block, stride, scratch, rows);
        for (size_t i = 0; i < below; i++)
            for (size_t k = 0; k < PANEL; k++)
                block[(PANEL + i) * stride + k] = scratch[spw_dense_at(i, k, PANEL)];
        spw_dense_less(block + PANEL * stride + PANEL, stride, scratch, PANEL, below, PANEL);
    }
    return true;
}

void spw_dense_solve(const double *a, size_t n, double *b) {
    size_t stride = spw_dense_stride(n);
    for (size_t i = 0; i < n; i++)
        b[i] = (b[i] - spw_dot(a + i * stride, b, i)) / a[i * stride + i];
    for (size_t i = n; i-- > 0;) {
        b[i] /= a[i * stride + i];
        spw_add_times(b, -b[i], a + i * stride, i);
    }
}
