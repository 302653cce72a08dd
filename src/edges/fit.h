/* One transition fitted with the learned shape. */
#ifndef SPW_FIT_H
#define SPW_FIT_H

#include "edges/shape.h"
#include "edges/trace.h"

/* Scratch for windows, one a finder: a pulse of 3.5 ms at a million samples a second. */
enum { SPW_WINDOW_MOST = 4096 };
typedef struct spw_window {
    ptrdiff_t first;
    size_t n;
    double z[SPW_WINDOW_MOST]; /* samples, smooth parts and neighbours taken out */
    double value[SPW_WINDOW_MOST], slope[SPW_WINDOW_MOST];
    double use[SPW_WINDOW_MOST]; /* 1, or 0 where a sample is left out */
    double tilt, sure; /* what is known of the background's slope, a sample: a mean and the
                           noise's variance over its own; sure 0: nothing */
} spw_window;

/* Loads samples [first, first + n) around marks [k, k + count) without what their
 * neighbours' ringing adds. Clamped to the trace. Groups of four are whole: z and use are 0
 * behind the window. */
void spw_window_load(spw_window *w, const spw_trace *trace, const spw_smooth *smooth,
                     const spw_shape *shape, const spw_mark *marks, size_t n_marks, size_t k,
                     size_t count, double first, double last);

/* The same between marks k - 1 and k: all transitions are neighbours. */
void spw_window_plateau(spw_window *w, const spw_trace *trace, const spw_smooth *smooth,
                        const spw_shape *shape, const spw_mark *marks, size_t n_marks, size_t k,
                        double first, double last);

/* What a fit leaves. */
typedef struct spw_fit {
    double moved;           /* of the instant in the last step, samples */
    double gain;            /* variance of the instant for unit noise */
    double rss, dof;        /* weighted residuals */
    size_t clipped;         /* samples left out; and then */
    double tilt, tilt_gain; /* the background's slope, a sample; its variance for unit noise */
    /* of the first fit: what the transition is higher by, of itself; its uncertainty; what
     * the instant moves by for an error of that */
    double higher, u_higher, lean;
    double line[2]; /* the background: at the window's middle, and half its rise */
} spw_fit;

/* Gauss-Newton steps of instant, offset and slope of mark k over +-reach samples, at most
 * `steps`; Huber weights beyond 3 `scale`. With `again`, *fit holds an earlier one, whose
 * background is the start, and steps end when the instant rests. False when the window gives no
 * answer (the mark is left as it was). Leaves the residuals, as of a rising transition, in w->z. */
bool spw_fit_mark(spw_window *w, const spw_trace *trace, const spw_smooth *smooth,
                  const spw_shape *shape, spw_mark *marks, size_t n, size_t k, size_t reach,
                  double scale, int steps, bool again, spw_fit *fit);

#endif
