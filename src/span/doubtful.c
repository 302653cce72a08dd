/* Holds in doubt beside holds without.
 *
 * Where part of a recording cannot be trusted, the same levels were mostly held in the part that
 * can: those tell the ends, and a hold in doubt that may be one of them stays out. How far it can
 * be off its doubt says; where that is not known, FARTHEST_US. One that lies farther off is a
 * level that was held nowhere else, and stays.
 *
 * A hold that stayed out and lay farther out than the end may have been a wider end after all:
 * by so much the end is in doubt. */
#include "span/levels.h"

#include <math.h>

/* Clipping at half of a pulse's height moved widths by 19 us, soft saturation by 4, the coarsest
 * codec by 9 (simulated, of known truth). */
static const double FARTHEST_US = 25;

spw_doubt spw_held_doubt(const spw_held *held) {
    const spw_hold *hold = held->hold;
    return (spw_doubt){hold->doubts, hold->start_s, hold->end_s, hold->doubt_bound_us};
}

static double expanded(const spw_held *held) {
    return isfinite(held->hold->width_us.U95) ? held->hold->width_us.U95 : 0;
}

/* Whether a hold without doubt may be the same level; NULL is none. */
static bool stands_in(const spw_held *sound, const spw_held *doubtful) {
    if (sound == NULL)
        return false;
    double bound = doubtful->hold->doubt_bound_us;
    double most = isnan(bound) ? FARTHEST_US : bound + hypot(expanded(sound), expanded(doubtful));
    return fabs(sound->hold->width_us.mean - doubtful->hold->width_us.mean) <= most;
}

static void note(const spw_held *held, spw_left_out *out) {
    spw_doubt doubt = spw_held_doubt(held);
    out->holds++;
    spw_doubt_join(&out->doubt, &doubt);
    out->lowest_us = fmin(out->lowest_us, held->hold->width_us.mean);
    out->highest_us = fmax(out->highest_us, held->hold->width_us.mean);
    out->U95 = fmax(out->U95, expanded(held));
}

size_t spw_held_leave_out(spw_held *held, size_t n, spw_left_out *out) {
    spw_held below;
    bool any_below = false;
    size_t kept = 0, above = 0;
    *out = (spw_left_out){.lowest_us = NAN, .highest_us = NAN};
    for (size_t i = 0; i < n; i++) {
        if (held[i].hold->doubts == 0) {
            below = held[i];
            any_below = true;
        } else {
            above = above > i ? above : i + 1;
            while (above < n && held[above].hold->doubts != 0)
                above++;
            if (stands_in(any_below ? &below : NULL, &held[i]) ||
                stands_in(above < n ? &held[above] : NULL, &held[i])) {
                note(&held[i], out);
                continue;
            }
        }
        held[kept++] = held[i];
    }
    return kept;
}

/* How much farther out, where that is more than both uncertainties explain. */
static void leave_in_doubt(spw_span_point *point, double farther_us, const spw_left_out *out) {
    double U95 = isfinite(point->U95) ? point->U95 : 0;
    if (point->doubt.what != 0 || !(farther_us > hypot(U95, out->U95)))
        return;
    point->doubt = out->doubt;
    point->doubt.bound_us = farther_us;
}

void spw_span_left_out(spw_span *span, const spw_left_out *out) {
    span->left_out = out->holds;
    span->left_doubt = out->doubt;
    leave_in_doubt(&span->low, span->low.us - out->lowest_us, out);
    leave_in_doubt(&span->high, out->highest_us - span->high.us, out);
}
