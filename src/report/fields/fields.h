/* Numbers as a person reads them: rounded to what is known, with their unit. */
#ifndef SPW_REPORT_FIELDS_FIELDS_H
#define SPW_REPORT_FIELDS_FIELDS_H

typedef struct spw_figure {
    char text[64];
} spw_figure;

/* A plain decimal number with '.', rounded half away from zero; empty when it
 * is not finite. decimals 0 .. 9. */
spw_figure spw_figure_fixed(double value, int decimals);
/* The same with a unit behind it, or "not known". An empty unit: the number. */
spw_figure spw_figure_unit(double value, int decimals, const char *unit);
/* Rounded to so many significant digits, at most 6 decimals. */
spw_figure spw_figure_digits(double value, int digits, const char *unit);
/* A number somebody set or that has no more digits: as spw_figure_digits, but
 * without zeros at the end of its decimals ("2", "-1500 us", "4.88 us"). */
spw_figure spw_figure_plain(double value, int digits, const char *unit);
/* "1500.02 ± 0.15 us": the expanded uncertainty to two significant digits and
 * the value to the same place (GUM 7.2.6). Without an uncertainty (NAN): the
 * value with two decimals. */
spw_figure spw_figure_pm(double value, double U95, const char *unit);
/* The value alone, rounded where spw_figure_pm would round it. */
spw_figure spw_figure_known(double value, double U95, const char *unit);

#endif
