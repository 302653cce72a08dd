/* What is claimed of a recording's shape is claimed against its own scatter.
 *
 * Every transition's residuals, taken as those of a rising one, are measured along two
 * directions that the fit leaves free of instant, offset and slope:
 *   BEND   the shape's second derivative: what another RC corner changes
 *   LEVEL  S (1 - S), S the share of the step done: what a curved input changes
 * Rises and falls that differ on average by more than the scatter from one transition to
 * the next have different shapes. That scatter holds whatever noise there is, of any colour. */
#ifndef SPW_CLAIMS_H
#define SPW_CLAIMS_H

#include "edges/fit.h"

enum { SPW_BEND, SPW_LEVEL_BOW, SPW_DIRECTIONS };

/* Of falls and rises: means and sums of squared deviations along each direction, of the
 * step; and the mean square residual of a transition, with the sum of ITS squares. */
typedef struct spw_scores {
    double n[2];
    double mean[2][SPW_DIRECTIONS], square[2][SPW_DIRECTIONS];
    double length[SPW_DIRECTIONS]; /* mean square of a direction, over a sample */
} spw_scores;

/* Adds a transition: w holds its residuals over 2 reach + 1 samples, as spw_fit_mark leaves
 * them. */
void spw_scores_add(spw_scores *scores, const spw_window *w, const spw_shape *shape,
                    const spw_mark *mark);

/* What rises have more of than falls. */
typedef struct spw_difference {
    double value;   /* along the direction, of its own length; */
    double rms;     /* of the step, a sample */
    double certain; /* standard deviations away from 0 */
} spw_difference;
/* False with fewer than three transitions either way. */
bool spw_scores_differ(const spw_scores *scores, size_t direction, spw_difference *difference);

#endif
