#include "edges/dense.h"

#include "edges/two.h"

#include <math.h>

enum { PANEL = 32, ROWS = 2, COLUMNS = 4 };

/* The products of two rows with four others. */
static inline void eight(const double *x, const double *y, size_t apart, size_t length,
                         double sum[ROWS][COLUMNS]) {
    spw_two s[ROWS][COLUMNS] = {{{0}}};
    const double *x1 = x + apart, *y1 = y + apart, *y2 = y1 + apart, *y3 = y2 + apart;
    for (size_t k = 0; k < length; k += 2) {
        spw_two a = spw_two_at(x + k), b = spw_two_at(x1 + k);
        spw_two p = spw_two_at(y + k), q = spw_two_at(y1 + k);
        s[0][0] += a * p;
        s[1][0] += b * p;
        s[0][1] += a * q;
        s[1][1] += b * q;
        p = spw_two_at(y2 + k);
        q = spw_two_at(y3 + k);
        s[0][2] += a * p;
        s[1][2] += b * p;
        s[0][3] += a * q;
        s[1][3] += b * q;
    }
    for (int i = 0; i < ROWS; i++)
        for (int j = 0; j < COLUMNS; j++)
            sum[i][j] = s[i][j][0] + s[i][j][1];
}

void spw_dense_less(double *a, size_t stride, const double *row, size_t apart, size_t n,
                    size_t length) {
    size_t whole = n - n % COLUMNS;
    for (size_t i = 0; i + 1 < n; i += ROWS) {
        double *one = a + i * stride, *two = one + stride, sum[ROWS][COLUMNS];
        for (size_t j = 0; j <= i + 1 && j < whole; j += COLUMNS) {
            eight(row + i * apart, row + j * apart, apart, length, sum);
            for (size_t c = 0; c < COLUMNS; c++) {
                one[j + c] -= sum[0][c];
                two[j + c] -= sum[1][c];
            }
        }
    }
    for (size_t i = 0; i < n; i++) /* what does not fill a group */
        for (size_t j = i + 1 == n && n % ROWS != 0 ? 0 : whole; j <= i; j++)
            a[i * stride + j] -= spw_dot(row + i * apart, row + j * apart, length);
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
