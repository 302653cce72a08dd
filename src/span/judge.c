/* The verdict on one end, with a guard band of U95 (JCGM 106, clause 8). */
#include "spanwright/span.h"

#include <math.h>

const char *spw_end_verdict_name(spw_end_verdict verdict) {
    switch (verdict) {
    case SPW_END_MEETS:
        return "meets";
    case SPW_END_SHORT:
        return "short";
    case SPW_END_BEYOND:
        return "beyond";
    case SPW_END_UNDECIDED:
        return "undecided";
    }
    return "undecided";
}

static double or_zero(double value) {
    return isfinite(value) ? value : 0;
}

/* What would bring the expanded uncertainty below the distance between the miss
 * and the tolerance. The coverage factor is kept: it only falls with more frames. */
static void what_would_decide(const spw_span_point *point, spw_end *end) {
    double u = or_zero(point->u);
    double factor = u > 0 ? end->U95 / u : 0;
    double distance = fabs(fabs(end->deviation_us) - end->tolerance_us);
    double allowed = factor > 0 ? distance / factor : 0;
    double own = or_zero(point->u_own), shared = or_zero(point->u_shared);
    double sampling = or_zero(point->u_sampling);
    double own_allowed = allowed * allowed - shared * shared;
    end->frames_needed = INFINITY;
    if (own_allowed <= 0)
        return;
    end->frames_needed = ceil((double)point->frames * own * own / own_allowed);
    double step = own_allowed - (own * own - sampling * sampling);
    if (sampling * sampling > own * own / 2 && step > 0)
        end->resolution_needed_us = sqrt(step) / SPW_SAMPLING_U;
}

spw_end spw_judge_end(const spw_span_point *point, double expected_us, double tolerance_us,
                      int sign) {
    spw_end end = {.verdict = SPW_END_UNDECIDED,
                   .deviation_us = sign * (point->us - expected_us),
                   .tolerance_us = tolerance_us,
                   .U95 = or_zero(point->U95),
                   .probability_meets = NAN,
                   .frames_needed = NAN,
                   .resolution_needed_us = NAN,
                   .doubt = point->doubt};
    if (isnan(end.deviation_us))
        return end;
    double miss = fabs(end.deviation_us), u = or_zero(point->u);
    double band = end.U95 + spw_doubt_reach_us(&point->doubt);
    bool doubted = point->doubt.what != 0;
    if (!doubted)
        end.probability_meets =
            u > 0 ? spw_conformity(end.deviation_us, u, -tolerance_us, tolerance_us)
                  : (miss <= tolerance_us ? 1 : 0);
    if (miss <= tolerance_us - band)
        end.verdict = SPW_END_MEETS;
    else if (miss > tolerance_us + band)
        end.verdict = end.deviation_us < 0 ? SPW_END_SHORT : SPW_END_BEYOND;
    else if (!doubted)
        what_would_decide(point, &end);
    return end;
}
