/* Whether what is wrong with the widths is a clock.
 *
 * A source whose timer runs off by a factor scales widths and period alike; a
 * wrong prescaler makes the factor a power of two. A setting, a trim or a limit
 * changes widths and leaves the period alone. */
#include "spanwright/span.h"

#include <math.h>

/* A quartz keeps 100 ppm, an RC oscillator about 1 %; software rounds a period by
 * a microsecond or so. Less than 0.2 % (3 us at neutral) is nobody's fault. */
#define RATIO_SLACK 0.002
/* How near to a power of two a prescaler brings it, RC oscillator included. */
#define POWER_SLACK 0.03

typedef struct ratio {
    double value, u;
    bool consistent;
    size_t points;
} ratio;

static double square(double x) {
    return x * x;
}

/* Standard uncertainty of a measured level, with the source's own step and a doubt's bound in it
 * (both taken as rectangular). */
static double u_point(const spw_span *span, const spw_span_point *point) {
    double u = isfinite(point->u) ? point->u : 0;
    double step = isfinite(span->step_us) ? span->step_us : 0;
    double doubt = spw_doubt_reach_us(&point->doubt);
    return sqrt(u * u + step * step / 12 + doubt * doubt / 3);
}

/* A level in doubt by an amount that is not known tells nothing. */
static bool compares(double told, const spw_span_point *level) {
    return !isnan(told) && !isnan(level->us) && isfinite(spw_doubt_reach_us(&level->doubt));
}

/* Measured over asked for the levels that both know, by the line through zero. */
static ratio width_ratio(const spw_span *span, const spw_controller *asked) {
    const spw_span_point *level[3] = {&span->low, &span->neutral, &span->high};
    const double told[3] = {asked->asked_low_us, asked->asked_neutral_us, asked->asked_high_us};
    ratio r = {.value = NAN, .u = NAN, .consistent = true};
    double products = 0, squares = 0, variance = 0;
    for (int i = 0; i < 3; i++) {
        if (!compares(told[i], level[i]))
            continue;
        r.points++;
        products += told[i] * level[i]->us;
        squares += told[i] * told[i];
        variance += square(told[i] * u_point(span, level[i]));
    }
    if (r.points == 0)
        return r;
    r.value = products / squares;
    r.u = sqrt(variance) / squares;
    for (int i = 0; i < 3; i++)
        if (compares(told[i], level[i]) &&
            fabs(level[i]->us / told[i] - r.value) >
                2 * u_point(span, level[i]) / told[i] + 2 * RATIO_SLACK)
            r.consistent = false;
    return r;
}

static bool off(double value, double u) {
    return fabs(value - 1) > fmax(2 * u, RATIO_SLACK);
}

static bool power_of_two(double value) {
    double power = log2(value), nearest = round(power);
    return nearest != 0 && fabs(nearest) <= 4 && fabs(exp2(power - nearest) - 1) <= POWER_SLACK;
}

static bool same(const spw_clock *c) {
    double slack = 2 * hypot(c->u_width_ratio, c->u_period_ratio);
    return fabs(c->width_ratio - c->period_ratio) <= fmax(slack, RATIO_SLACK) * c->period_ratio;
}

static spw_clock_verdict judge(const spw_clock *c, bool consistent) {
    bool width = !isnan(c->width_ratio), period = !isnan(c->period_ratio);
    if ((width && consistent && power_of_two(c->width_ratio)) ||
        (period && power_of_two(c->period_ratio)))
        return SPW_CLOCK_DOUBLED;
    bool width_off = width && (!consistent || off(c->width_ratio, c->u_width_ratio));
    bool period_off = period && off(c->period_ratio, c->u_period_ratio);
    if (width && period) {
        if (!width_off && !period_off)
            return SPW_CLOCK_AGREES;
        if (!period_off)
            return SPW_CLOCK_WIDTH_ONLY;
        return consistent && same(c) ? SPW_CLOCK_SCALED : SPW_CLOCK_DISAGREES;
    }
    /* One of the two alone cannot tell a clock from a setting. */
    return (width && !width_off) || (period && !period_off) ? SPW_CLOCK_AGREES : SPW_CLOCK_UNKNOWN;
}

spw_clock spw_clock_check(const spw_span *span, const spw_summary *period_us,
                          const spw_controller *asked) {
    spw_clock clock = {SPW_CLOCK_UNKNOWN, NAN, NAN, NAN, NAN, false, NAN};
    ratio width = {.value = NAN, .u = NAN, .consistent = true};
    if (span->known)
        width = width_ratio(span, asked);
    clock.width_ratio = width.value;
    clock.u_width_ratio = width.u;
    clock.one_factor = width.points > 0 && width.consistent;
    if (period_us != NULL && period_us->n > 0 && !isnan(asked->asked_frame_us)) {
        clock.period_ratio = period_us->mean / asked->asked_frame_us;
        clock.u_period_ratio = isfinite(period_us->u) ? period_us->u / asked->asked_frame_us : 0;
    }
    clock.verdict = judge(&clock, width.consistent);
    if (clock.verdict == SPW_CLOCK_SCALED || clock.verdict == SPW_CLOCK_DOUBLED) {
        bool by_width = !isnan(clock.width_ratio) && width.consistent &&
                        (isnan(clock.period_ratio) || off(clock.width_ratio, clock.u_width_ratio));
        clock.correction = 1 / (by_width ? clock.width_ratio : clock.period_ratio);
    }
    return clock;
}
