#include "support/dataset.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static void give_up(const char *name, const char *why) {
    fprintf(stderr, "tests/reference/data/%s: %s\n", name, why);
    exit(2);
}

static size_t read_row(char *line, double *out, size_t room) {
    size_t n = 0;
    char *at = line;
    while (n < room) {
        char *end = NULL;
        double x = strtod(at, &end);
        if (end == at)
            break;
        out[n++] = x;
        at = end;
    }
    return n;
}

void dataset_read(const char *name, dataset *set) {
    char path[256];
    char line[512];
    snprintf(path, sizeof path, "tests/reference/data/%s", name);
    FILE *file = fopen(path, "r");
    if (file == NULL)
        give_up(name, "cannot be read (run from the top folder)");
    *set = (dataset){0};
    while (fgets(line, sizeof line, file) != NULL) {
        size_t used = set->rows * set->columns;
        if (line[0] == '#' || line[0] == '\n')
            continue;
        size_t n = read_row(line, set->value + used, DATASET_VALUES - used);
        if (n == 0 || (set->columns != 0 && n != set->columns))
            give_up(name, "rows of different length");
        set->columns = n;
        set->rows++;
    }
    fclose(file);
    if (set->rows == 0)
        give_up(name, "no rows");
}

void dataset_column(const dataset *set, size_t k, double *out) {
    for (size_t i = 0; i < set->rows; i++)
        out[i] = set->value[i * set->columns + k];
}

double digits(double value, double certified) {
    double off = fabs(value - certified);
    return off == 0 ? 17 : -log10(off / fabs(certified));
}
