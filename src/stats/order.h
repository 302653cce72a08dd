/* Values in order. */
#ifndef SPW_ORDER_H
#define SPW_ORDER_H

#include <stddef.h>

/* Sorts upwards, in place. Where values are not numbers, somehow. */
void spw_sort(double *values, size_t n);

#endif
