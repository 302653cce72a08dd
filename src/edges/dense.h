/* Symmetric systems of hundreds of unknowns. The shape's equations are factorised
 * several times a capture, and with GSL's reference BLAS that took longer than
 * all the rest of a measurement; this takes a sixth of it. */
#ifndef SPW_DENSE_H
#define SPW_DENSE_H

#include <stdbool.h>
#include <stddef.h>

/* Lower triangle of a (n rows, `stride` apart) less the products of rows:
 * a[i][j] -= row[i] . row[j]. What is above the diagonal is not kept.
 *   row      n rows, `apart` apart, of `length` each; not part of what changes */
void spw_dense_less(double *a, size_t stride, const double *row, size_t apart, size_t n,
                    size_t length);
/* Inside: rows a, a + stride and a + 2 stride less the products of three rows from x on,
 * `apart` apart, with eight that lie side by side in `packed`. */
void spw_dense_less_three(double *a, size_t stride, const double *x, size_t apart,
                          const double *packed, size_t length);
/* a (n x n, lower triangle used) becomes its Cholesky factor. False when it is not
 * positive definite. */
bool spw_dense_factor(double *a, size_t n);
/* Solves with the factor, in place. */
void spw_dense_solve(const double *a, size_t n, double *b);

#endif
