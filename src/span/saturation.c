/* Where a source stops following what it is told.
 *
 * A capture does not show what was commanded, so a plateau alone proves nothing:
 * people rest at an end. What counts as evidence is a staircase of at least four
 * equal steps whose next step comes out cut short and is then held about twice as
 * long as the steps before, or longer: two or more commanded levels in one. */
#include "span/parts.h"

#include <math.h>
#include <string.h>

#define WINDOW 6 /* levels: five that make four equal steps, and the plateau */
#define CUT_STEP 0.75
#define LONG_HOLD 1.8

typedef struct stair {
    double us, seconds;
} stair;

static double median4(double a, double b, double c, double d) {
    double low = fmin(fmin(a, b), fmin(c, d)), high = fmax(fmax(a, b), fmax(c, d));
    return (a + b + c + d - low - high) / 2;
}

/* +1 or -1 when the window climbs (or falls) into a plateau, else 0. */
static int plateau(const stair *s) {
    double step[4];
    for (int i = 0; i < 4; i++)
        step[i] = s[i + 1].us - s[i].us;
    double usual = median4(step[0], step[1], step[2], step[3]);
    double last = s[5].us - s[4].us;
    for (int i = 0; i < 4; i++)
        if (fabs(step[i] - usual) > 0.1 * fabs(usual) + 2)
            return 0;
    double seconds = median4(s[1].seconds, s[2].seconds, s[3].seconds, s[4].seconds);
    if (fabs(usual) < 5 || last * usual < 0 || fabs(last) > CUT_STEP * fabs(usual) ||
        s[5].seconds < LONG_HOLD * seconds)
        return 0;
    return usual > 0 ? 1 : -1;
}

/* Adds a hold to the window: to its last level when it agrees with it. */
static size_t add_hold(stair window[WINDOW], size_t n, const spw_hold *hold) {
    double us = hold->width_us.mean, seconds = hold->end_s - hold->start_s;
    double same = isfinite(hold->width_us.U95) ? 1.5 * hold->width_us.U95 : 0;
    if (n > 0 && fabs(us - window[n - 1].us) <= same) {
        window[n - 1].seconds += seconds;
        return n;
    }
    if (n == WINDOW) {
        memmove(window, window + 1, (WINDOW - 1) * sizeof *window);
        n--;
    }
    window[n] = (stair){us, seconds};
    return n + 1;
}

static void note(const stair window[WINDOW], spw_span *span) {
    int way = plateau(window);
    double us = window[WINDOW - 1].us, near = 0.02 * (span->high.us - span->low.us);
    if (way > 0 && fabs(us - span->high.us) < near)
        span->saturates_high_us = span->high.us;
    if (way < 0 && fabs(us - span->low.us) < near)
        span->saturates_low_us = span->low.us;
}

void spw_span_saturation(const spw_channel *const *channels, size_t n, spw_span *span) {
    for (size_t c = 0; c < n; c++) {
        stair window[WINDOW];
        size_t filled = 0;
        for (size_t i = 0; i < channels[c]->holds; i++) {
            if (!spw_hold_judged(channels[c], &channels[c]->hold[i]))
                continue;
            filled = add_hold(window, filled, &channels[c]->hold[i]);
            if (filled == WINDOW)
                note(window, span);
        }
    }
}
