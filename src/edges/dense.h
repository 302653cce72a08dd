/* Symmetric systems of hundreds of unknowns. The shape's equations are factorised
 * several times a capture, and with GSL's reference BLAS that took longer than
 * all the rest of a measurement; this takes a twentieth of it.
 *
 * A matrix of n rows (its lower triangle) has rows spw_dense_stride(n) apart and room for as
 * many; what is above the diagonal and beyond n is not kept. Eight rows of a tall matrix lie
 * packed, side by side: number k of row i at packed[spw_dense_at(i, k, depth)], where depth
 * is how many numbers a row has room for; rows up to a multiple of eight are there, zero
 * beyond n. */
#ifndef SPW_DENSE_H
#define SPW_DENSE_H

#include <stdbool.h>
#include <stddef.h>

enum { SPW_DENSE_ROWS = 8, SPW_DENSE_PANEL = 32 };

static inline size_t spw_dense_rows(size_t n) {
    return (n + SPW_DENSE_ROWS - 1) / SPW_DENSE_ROWS * SPW_DENSE_ROWS;
}

/* Not a large power of two, at which rows would push each other out of caches. */
static inline size_t spw_dense_stride(size_t n) {
    size_t rows = spw_dense_rows(n);
    return rows % 64 == 0 ? rows + SPW_DENSE_ROWS : rows;
}

static inline size_t spw_dense_at(size_t i, size_t k, size_t depth) {
    return (i / SPW_DENSE_ROWS * depth + k) * SPW_DENSE_ROWS + i % SPW_DENSE_ROWS;
}

/* Lower triangle of a (n rows, `stride` apart) less the products of packed rows of `length`
 * numbers each: a[i][j] -= row i . row j. */
void spw_dense_less(double *a, size_t stride, const double *packed, size_t depth, size_t n,
                    size_t length);
/* a (n rows) becomes its Cholesky factor. False when it is not positive definite.
 *   scratch   spw_dense_rows(n) * SPW_DENSE_PANEL numbers */
bool spw_dense_factor(double *a, size_t n, double *scratch);
/* Solves with the factor, in place. */
void spw_dense_solve(const double *a, size_t n, double *b);

#endif
