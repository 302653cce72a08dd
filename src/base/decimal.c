#include "base/decimal.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define DIGITS_MAX 19 /* decimal digits that always fit in 64 bits */
#define EXPONENT_MAX 99999

static bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

/* The exponent part at text[at..], or 0 taken when there is none. */
static size_t scan_exponent(const char *text, size_t length, size_t at, int32_t *exponent) {
    size_t start = at;
    if (at >= length || (text[at] != 'e' && text[at] != 'E'))
        return 0;
    at++;
    bool negative = false;
    if (at < length && (text[at] == '+' || text[at] == '-'))
        negative = text[at++] == '-';
    if (at >= length || !is_digit(text[at]))
        return 0;
    int32_t value = 0;
    for (; at < length && is_digit(text[at]); at++)
        if (value < EXPONENT_MAX)
            value = value * 10 + (text[at] - '0');
    *exponent += negative ? -value : value;
    return at - start;
}

size_t spw_decimal_scan(const char *text, size_t length, char mark, spw_decimal *number) {
    spw_decimal found = {0};
    size_t at = 0;
    if (at < length && (text[at] == '+' || text[at] == '-'))
        found.negative = text[at++] == '-';
    size_t kept = 0;
    bool any = false, past_mark = false;
    for (; at < length; at++) {
        char c = text[at];
        if (c == mark && !past_mark) {
            past_mark = true;
            continue;
        }
        if (!is_digit(c))
            break;
        any = true;
        if (kept < DIGITS_MAX) {
            found.digits = found.digits * 10 + (uint64_t)(c - '0');
            kept += found.digits != 0;
            if (past_mark && found.exponent > -EXPONENT_MAX)
                found.exponent--;
        } else {
            found.inexact = found.inexact || c != '0';
            if (!past_mark && found.exponent < EXPONENT_MAX)
                found.exponent++;
        }
    }
    if (!any)
        return 0;
    at += scan_exponent(text, length, at, &found.exponent);
    *number = found;
    return at;
}

/* Correctly rounded by the C library, which reads its locale's decimal mark:
 * the number is written without one. */
static double slow_value(const spw_decimal *number) {
    char buffer[64];
    if (snprintf(buffer, sizeof buffer, "%s%llue%d", number->negative ? "-" : "",
                 (unsigned long long)number->digits, (int)number->exponent) < 0)
        return NAN;
    return strtod(buffer, NULL);
}

double spw_decimal_value(const spw_decimal *number) {
    static const double power[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                   1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                   1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    /* Both factors are exact doubles, so one rounding happens (Clinger 1990). */
    if (number->digits <= (UINT64_C(1) << 53) && number->exponent >= -22 &&
        number->exponent <= 22) {
        double value = (double)number->digits;
        value = number->exponent < 0 ? value / power[-number->exponent]
                                     : value * power[number->exponent];
        return number->negative ? -value : value;
    }
    return slow_value(number);
}

spw_status spw_parse_number(const char *string, double *value) {
    spw_decimal number;
    size_t length = strlen(string);
    size_t taken = spw_decimal_scan(string, length, '.', &number);
    if (taken == 0 || taken != length)
        return SPW_ERR_FORMAT;
    double parsed = spw_decimal_value(&number);
    if (!isfinite(parsed))
        return SPW_ERR_FORMAT;
    *value = parsed;
    return SPW_OK;
}
