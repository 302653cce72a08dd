/* Numbers as options give them. All return CLI_GO, or CLI_WRONG after a complaint
 * that starts with `name` and the text. */
#ifndef SPW_CLI_VALUES_H
#define SPW_CLI_VALUES_H

#include "cli/options.h"

#define CLI_LONGEST_US 100000.0 /* of a pulse, as in the bench file */
/* Widths of any servo's control pulse lie far within (common practice: 400 to 2600 us). */
#define CLI_LEAST_WIDTH_US 50.0
#define CLI_MOST_WIDTH_US 20000.0

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

/* A number with k, M or G behind it or not: "100k" is 100000; as cli_within. */
int cli_rate(const char *name, const char *text, double least, double most, double *value);
/* Widths of 50 to 20000 us: CLI_GO. Others that would be such in another unit are asked about;
 * with `must_fit` all others are refused. */
int cli_ask_unit(const char *name, const char *text, const double *widths, size_t n, bool must_fit);

/* A day as YYYY-MM-DD. */
int cli_date(const char *name, const char *text);

#endif
