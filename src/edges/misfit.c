/* Does the learned shape describe the capture? */
#include "edges/finder.h"

#include <math.h>

#define MISFIT 3.0        /* residuals over the plateaus' noise: the shape does not hold */
#define STRAIN 1.2        /* the same: it does not hold quite */
#define UNLIKE 7e-5       /* of the step, rms difference of rise and fall that matters */
#define BENT 2e-4         /* the same, of what is tied to the level */
#define VAGUE 4e-4        /* both, where the shape is vague (found by simulation) */
#define MOSTLY 0.7        /* of a misfit that may be left, for the rest to be told */
#define LOCKED 0.3        /* of spw_scores_locked */
#define SURE 5.0          /* standard deviations above what noise would do */
#define SLOW_RINGING 4e-3 /* below: no converter's filter has limited the band */

/* Why transitions show no ringing: they are cut off, or shorter than a sample. */
uint32_t spw_finder_instant(const spw_edge_finder *f) {
    return f->flat || f->report.clipped_samples > 0 ? SPW_DOUBT_CLIPPING : SPW_DOUBT_TOO_FAST;
}

bool spw_finder_locked(const spw_edge_finder *f) {
    return spw_scores_locked(&f->scores) > LOCKED;
}

/* Residuals that no parabola takes up, over what they are where there is no transition; NAN
 * where either is not known. */
static double strain_of(const spw_edge_finder *f) {
    double usual = fmax(f->quiet.straight, f->noise * f->noise);
    return f->scores.misfit > 0 && f->quiet.n > 1 ? f->scores.misfit / usual : (double)NAN;
}

/* What of a strain is left when the differences of rises and falls are taken out. Where all
 * but a tenth is, it is the shape that does not hold, and it tells nothing of either. */
static bool tells_most(const spw_edge_finder *f, const spw_difference *bend,
                       const spw_difference *level) {
    double strain = strain_of(f), height2 = f->shape.height * f->shape.height;
    double usual = fmax(f->quiet.straight, f->noise * f->noise);
    double rest = strain - height2 * (bend->rms * bend->rms + level->rms * level->rms) / 4 / usual;
    return isnan(strain) || rest < STRAIN * STRAIN || rest - 1 < MOSTLY * (strain - 1);
}

/* Rises and falls mirrored should leave the same residuals. A difference d along the bend
 * tells of unequal RC corners: d = (tau_r^2 - tau_f^2) / 2 T'', and a width is then off by
 * (1 - ln 2)(tau_f - tau_r), at most by that of the root of the difference of squares. One
 * that is tied to the level is saturation. Frames locked to the sampling show the shape at few
 * phases, and in pulses shorter than it one edge's share trades against the other's. */
spw_claim spw_finder_symmetry(const spw_edge_finder *f) {
    spw_claim claim = {0};
    spw_difference bend, level;
    if (f->settings.lossy || f->noise < 0.8 * f->quantum ||
        !spw_scores_differ(&f->scores, SPW_BEND, &bend) ||
        !spw_scores_differ(&f->scores, SPW_LEVEL_BOW, &level) || !tells_most(f, &bend, &level))
        return claim;
    bool vague = f->overlap || spw_finder_locked(f);
    if (level.certain > SURE && level.rms > (vague ? VAGUE : BENT) && level.rms > bend.rms)
        claim.doubts |= SPW_DOUBT_SATURATION;
    if (!(bend.certain > SURE && bend.rms > (vague ? VAGUE : UNLIKE)))
        return claim;
    claim.doubts |= SPW_DOUBT_ASYMMETRY;
    claim.asymmetry_us =
        (1 - M_LN2) * sqrt(2 * fabs(bend.value)) * 1e6 / f->settings.sample_rate_hz;
    return claim;
}

/* The shape does not describe the capture. */
static void fall_back(spw_edge_finder *f) {
    bool few = f->learned_from == 0 && (f->report.doubts & SPW_DOUBT_FEW) != 0;
    bool undersampled = !few && f->ringing < SLOW_RINGING && f->report.clipped_samples == 0 &&
                        (f->report.doubts & SPW_DOUBT_ASYMMETRY) == 0;
    f->report.method = undersampled ? SPW_METHOD_SAMPLES : SPW_METHOD_CROSSING;
    if (undersampled)
        f->report.doubts |= spw_finder_instant(f);
    else if (!f->settings.lossy && !few && (f->report.doubts & SPW_DOUBT_SATURATION) == 0)
        f->report.doubts |= SPW_DOUBT_NO_SHAPE;
    f->fallen_back = true;
}

spw_hold_up spw_finder_holds(const spw_edge_finder *f, double variance, double dof) {
    double usual = f->spread * f->spread, excess = variance / usual;
    double unsure = hypot(sqrt(2 / dof), f->quiet.n > 1 ? f->quiet.unsure / usual : 0);
    bool bare = f->report.clipped_samples == 0 && !f->settings.lossy;
    if (excess > MISFIT * MISFIT)
        return SPW_MISFITS;
    return bare && excess > fmax(STRAIN * STRAIN, 1 + SURE * unsure) ? SPW_STRAINED : SPW_HOLDS;
}

void spw_finder_judge(spw_edge_finder *f, double variance, double dof) {
    f->judged = true;
    if (f->learned_from > 0) {
        spw_claim claim = spw_finder_symmetry(f);
        f->report.doubts |= claim.doubts;
        f->report.u_asymmetry_us = hypot(f->report.u_asymmetry_us, claim.asymmetry_us);
    }
    spw_hold_up holds = spw_finder_holds(f, variance, dof);
    if (holds == SPW_MISFITS)
        fall_back(f);
    else if (holds == SPW_STRAINED && !(strain_of(f) < STRAIN * STRAIN) &&
             (f->report.doubts & SPW_DOUBT_SATURATION) == 0)
        f->report.doubts |= SPW_DOUBT_NO_SHAPE;
}
