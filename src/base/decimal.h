/* Decimal numbers from text, independent of the locale, exact where a double is. */
#ifndef SPW_DECIMAL_H
#define SPW_DECIMAL_H

#include "spanwright/base.h"

/* A decimal number: (negative ? -1 : 1) * digits * 10^exponent. Digits past
 * the 19th are dropped from `digits` (exponent adjusted) and set `inexact`
 * when any of them was not zero. */
typedef struct spw_decimal {
    uint64_t digits;
    int32_t exponent;
    bool negative;
    bool inexact;
} spw_decimal;

/* Reads a number at the start of text[0 .. length).
 *   mark   decimal mark, '.' or ','
 * Accepts sign, leading zeros, digits with at most one mark, and an exponent
 * (e or E, sign). Returns how many bytes it took; 0 when there is no number. */
size_t spw_decimal_scan(const char *text, size_t length, char mark, spw_decimal *number);

/* The nearest double; +-INFINITY past its range, 0 below it. */
double spw_decimal_value(const spw_decimal *number);

#endif
