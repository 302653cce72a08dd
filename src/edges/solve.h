/* Small symmetric systems inside loops, where a matrix object would cost more
 * than the solution: Cholesky, refused instead of aborted when not positive. */
#ifndef SPW_SOLVE_H
#define SPW_SOLVE_H

#include <stdbool.h>
#include <stddef.h>

/* a (n x n, row by row, lower part used) becomes its Cholesky factor. False when
 * it is not positive definite. */
bool spw_cholesky(double *a, size_t n);
/* Solves with the factor, in place. */
void spw_cholesky_solve(const double *a, size_t n, double *b);

#endif
