/* What is claimed of a recording's shape is claimed against its own scatter.
 *
 * Every transition's residuals, taken as those of a rising one, are measured along two
 * directions that the fit leaves free of instant, offset and slope:
 *   BEND   the shape's second derivative: what another RC corner changes
 *   LEVEL  S (1 - S), S the share of the step done: what a curved input changes
 * Rises and falls that differ on average by more than the scatter from one transition to
 * the next have different shapes. That scatter holds whatever noise there is, of any colour.
 * Backgrounds that bend are no shape: what goes with a parabola is left out of all of it. */
#ifndef SPW_CLAIMS_H
#define SPW_CLAIMS_H

#include "edges/fit.h"

enum { SPW_BEND, SPW_LEVEL_BOW, SPW_DIRECTIONS };

/* Of falls and rises: means and sums of squared deviations along each direction, of the
 * step; and mean square residuals. */
typedef struct spw_scores {
    double n[2];
    double mean[2][SPW_DIRECTIONS], square[2][SPW_DIRECTIONS];
    double length[SPW_DIRECTIONS]; /* mean square of a direction, over a sample */
    double misfit;                 /* mean square of the residuals, over degrees of freedom */
    double re[2], im[2];           /* mean phase of the sampling, as a point of the unit circle */
} spw_scores;

/* Adds a transition: w holds its residuals over 2 reach + 1 samples, as spw_fit_mark leaves
 * them. */
void spw_scores_add(spw_scores *scores, const spw_window *w, const spw_shape *shape,
                    const spw_mark *mark);

/* How much the phases of the sampling are alike, of the direction where less so: 1 where frames
 * are locked to it. The shape is then known at those phases alone. */
double spw_scores_locked(const spw_scores *scores);

/* What rises have more of than falls. */
typedef struct spw_difference {
    double value;   /* along the direction, of its own length; */
    double rms;     /* of the step, a sample */
    double certain; /* standard deviations away from 0 */
} spw_difference;
/* False with fewer than three transitions either way. */
bool spw_scores_differ(const spw_scores *scores, size_t direction, spw_difference *difference);

#endif
