/* Small tables of published numbers. */
#ifndef TEST_DATASET_H
#define TEST_DATASET_H

#include <stddef.h>

enum { DATASET_VALUES = 4096 };

/* Numbers row by row; every row has `columns` of them. */
typedef struct dataset {
    size_t rows, columns;
    double value[DATASET_VALUES];
} dataset;

/* Reads tests/reference/data/NAME: blank-separated numbers, '#' starts a
 * comment. Ends the program when the file is not there or not a table. */
void dataset_read(const char *name, dataset *set);
/* Column k of every row into out (DATASET_VALUES long). */
void dataset_column(const dataset *set, size_t k, double *out);

/* Digits that agree: -log10 of the relative error, 17 when there is none. */
double digits(double value, double certified);

#endif
