#include "edges/solve.h"

#include <math.h>

bool spw_cholesky(double *a, size_t n) {
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j <= i; j++) {
            double sum = a[i * n + j];
            for (size_t k = 0; k < j; k++)
                sum -= a[i * n + k] * a[j * n + k];
            if (i == j) {
                if (!(sum > 0))
                    return false;
                a[i * n + i] = sqrt(sum);
            } else {
                a[i * n + j] = sum / a[j * n + j];
            }
        }
    }
    return true;
}

void spw_cholesky_solve(const double *a, size_t n, double *b) {
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < i; k++)
            b[i] -= a[i * n + k] * b[k];
        b[i] /= a[i * n + i];
    }
    for (size_t i = n; i-- > 0;) {
        for (size_t k = i + 1; k < n; k++)
            b[i] -= a[k * n + i] * b[k];
        b[i] /= a[i * n + i];
    }
}
