/* Numbers as options give them. All return CLI_GO, or CLI_WRONG after a complaint
 * that starts with `name` and the text. */
#ifndef SPW_CLI_VALUES_H
#define SPW_CLI_VALUES_H

#include "cli/options.h"

#define CLI_LONGEST_US 100000.0 /* of a pulse, as in the bench file */

int cli_positive(const char *name, const char *text, const char *unit, double *value);
/* Above 0, from `least` to `most`. */
int cli_within(const char *name, const char *text, double least, double most, const char *unit,
               double *value);
/* 0 to `most`. */
int cli_up_to(const char *name, const char *text, double most, const char *unit, double *value);
/* LOW:HIGH in us, 0 < LOW < HIGH <= CLI_LONGEST_US; `example` shows the form. */
int cli_range(const char *name, const char *text, const char *example, double *low, double *high);
/* Splits at ':' into at most 3 numbers; returns how many, 0 when it cannot be read. */
size_t cli_split_numbers(const char *text, double values[3]);

/* A day as YYYY-MM-DD. */
int cli_date(const char *name, const char *text);

#endif
