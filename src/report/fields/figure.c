/* Numbers as a person reads them. Digits come from whole numbers, so that no
 * locale of a caller can put a comma into them. */
#include "report/fields/fields.h"

#include <inttypes.h>
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#define MOST_DECIMALS 6
#define LEAST 0.5e-6 /* shown as 0 with so many decimals */
static const double tens[] = {1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9};

static void write_fixed(char *out, size_t size, double value, int decimals) {
    double scaled = value * tens[decimals];
    if (fabs(scaled) >= 9e15) { /* beyond what a double tells in so many decimals */
        (void)snprintf(out, size, "%.0f", value);
        return;
    }
    int64_t whole = llround(scaled), unit = (int64_t)tens[decimals];
    const char *sign = whole < 0 ? "-" : "";
    if (whole < 0)
        whole = -whole;
    if (decimals == 0)
        (void)snprintf(out, size, "%s%" PRId64, sign, whole);
    else
        (void)snprintf(out, size, "%s%" PRId64 ".%0*" PRId64, sign, whole / unit, decimals,
                       whole % unit);
}

spw_figure spw_figure_fixed(double value, int decimals) {
    spw_figure figure = {""};
    if (isfinite(value) && fabs(value) < 1e40)
        write_fixed(figure.text, sizeof figure.text, value, decimals);
    return figure;
}

static spw_figure with_unit(const char *number, const char *unit) {
    spw_figure figure;
    (void)snprintf(figure.text, sizeof figure.text, "%.44s%s%.16s", number,
                   unit[0] != '\0' ? " " : "", unit);
    return figure;
}

spw_figure spw_figure_unit(double value, int decimals, const char *unit) {
    spw_figure number = spw_figure_fixed(value, decimals);
    return with_unit(number.text[0] == '\0' ? "not known" : number.text,
                     number.text[0] == '\0' ? "" : unit);
}

/* The power of ten of the last digit when `value` keeps `digits` of them. */
static int last_place(double value, int digits) {
    int place = (int)floor(log10(fabs(value))) - digits + 1;
    double unit = pow(10.0, place);
    if (round(fabs(value) / unit) >= pow(10.0, digits)) /* 0.0996 is 0.10, not 0.100 */
        place++;
    return place < -MOST_DECIMALS ? -MOST_DECIMALS : place;
}

static spw_figure at_place(double value, int place) {
    if (place <= 0)
        return spw_figure_fixed(value, -place);
    double unit = pow(10.0, place);
    return spw_figure_fixed(round(value / unit) * unit, 0);
}

spw_figure spw_figure_digits(double value, int digits, const char *unit) {
    if (!isfinite(value))
        return (spw_figure){"not known"};
    if (fabs(value) < LEAST)
        return with_unit("0", unit);
    return with_unit(at_place(value, last_place(value, digits)).text, unit);
}

spw_figure spw_figure_plain(double value, int digits, const char *unit) {
    spw_figure figure = spw_figure_digits(value, digits, "");
    if (strchr(figure.text, '.') != NULL) {
        size_t length = strlen(figure.text);
        while (figure.text[length - 1] == '0')
            length--;
        figure.text[figure.text[length - 1] == '.' ? length - 1 : length] = '\0';
    }
    return isfinite(value) ? with_unit(figure.text, unit) : figure;
}

static bool has_uncertainty(double U95) {
    return isfinite(U95) && U95 > 0.0;
}

spw_figure spw_figure_known(double value, double U95, const char *unit) {
    if (!isfinite(value))
        return (spw_figure){"not known"};
    if (!has_uncertainty(U95))
        return spw_figure_unit(value, 2, unit);
    return with_unit(at_place(value, last_place(U95, 2)).text, unit);
}

spw_figure spw_figure_pm(double value, double U95, const char *unit) {
    if (!isfinite(value) || !has_uncertainty(U95))
        return spw_figure_known(value, U95, unit);
    int place = last_place(U95, 2);
    double least = pow(10.0, place); /* never shown as zero */
    spw_figure number = at_place(value, place), spread = at_place(fmax(U95, least), place);
    spw_figure figure;
    (void)snprintf(figure.text, sizeof figure.text, "%.24s \xc2\xb1 %.20s%s%.12s", number.text,
                   spread.text, unit[0] != '\0' ? " " : "", unit);
    return figure;
}
