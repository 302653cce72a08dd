/* Does what was learned still hold? Every stretch is asked.
 *
 * Fits leave residuals; averaged by sample and direction they would be those of the time of
 * learning, if the shape were still the same. */
#ifndef SPW_WATCH_H
#define SPW_WATCH_H

#include "edges/fit.h"

/* Sums of residuals of falls and rises over 2 reach + 1 samples, of the shape's height. */
enum { SPW_PROFILE = 49 };
typedef struct spw_profile {
    double sum[2][SPW_PROFILE];
    double weight[2]; /* squares of the transitions' scales */
} spw_profile;

/* w holds a transition's residuals, as spw_fit_mark leaves them. */
void spw_profile_add(spw_profile *profile, const spw_window *w, const spw_mark *mark);

/* Those of one stretch more, and of earlier ones the less the longer they are ago. */
void spw_profile_follow(spw_profile *recent, const spw_profile *here);

/* Sum of squares of what rises have more of than falls. */
double spw_profile_unlike(const spw_profile *profile);

/* What is different from the usual, by sample and direction. */
typedef struct spw_shape_change {
    double by[2][SPW_PROFILE];
    double square; /* its sum of squares, without what noise makes on average */
} spw_shape_change;

/* Has the shape changed? By more than noise makes and by enough to matter.
 *   samples   of a profile
 *   variance  of the noise; `coloured`: it is not white
 *   shape     what they were fitted with */
bool spw_profile_changed(const spw_profile *here, const spw_profile *usual, size_t samples,
                         double variance, bool coloured, const spw_shape *shape,
                         spw_shape_change *change);

/* What widths may be off by, samples, where the change is another RC corner of rises or falls
 * (see misfit.c); NAN where it is something else. */
double spw_change_bound(const spw_shape_change *change, size_t reach, const spw_shape *shape);

/* How much more a transition's residuals are like the changed ones than like the usual: on
 * average below 0 before the change and above 0 after it. */
double spw_change_seen(const spw_shape_change *change, const spw_profile *usual,
                       const spw_window *w, const spw_mark *mark);

/* Of n such numbers the stretch [*from, *to) in which they sum up to most. */
void spw_change_place(const double *seen, size_t n, size_t *from, size_t *to);

#endif
