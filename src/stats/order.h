/* Values in order. */
#ifndef SPW_ORDER_H
#define SPW_ORDER_H

#include <stddef.h>

/* Sorts upwards, in place. Where values are not numbers, somehow. */
void spw_sort(double *values, size_t n);
/* Puts number k in order (0 ... n - 1) at values[k], none larger before it and none smaller
 * behind. A few passes, where sorting takes many. */
void spw_select(double *values, size_t n, size_t k);
/* As spw_quantile_sorted of the values in order; leaves them as spw_select does. */
double spw_quantile(double *values, size_t n, double p);

#endif
