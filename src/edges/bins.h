/* Plateaus as rows of a least-squares problem: means over short bins, with all that is
 * linear in them beside, each plateau's own constant and each segment's slope (and, for a
 * third integral, which begins anywhere, its bow) taken out. */
#ifndef SPW_BINS_H
#define SPW_BINS_H

#include "edges/trace.h"

/* Of a row: time from the segment's start, y, its running integrals I, II, III, what a
 * recorder's offset makes of II and III, and the integrals of bare steps of height 1 at the
 * marks: noise bends the former, and what of the coupling is left by that goes with the
 * latter. Then pairs of columns for the lines of hum, and one for their frequency. */
enum {
    SPW_COL_T,
    SPW_COL_Y,
    SPW_COL_I,
    SPW_COL_II,
    SPW_COL_III,
    SPW_COL_TT,
    SPW_COL_TTT,
    SPW_COL_BARE,
    SPW_COL_BARE_II,
    SPW_COL_BARE_III
};
enum {
    SPW_COL_HUM = SPW_COL_BARE_III + 1,
    SPW_HUM_COLUMNS = 2 * SPW_HUM_LINES,
    SPW_COLUMNS = SPW_COL_HUM + SPW_HUM_COLUMNS + 1
};

typedef struct spw_bin {
    double t;     /* samples, of its middle */
    double clear; /* samples from its ends to the transitions about it */
    double value[SPW_COL_HUM];
    uint32_t plateau, segment;
} spw_bin;

typedef struct spw_bins {
    spw_bin *bin;
    size_t n;
    double width; /* samples a bin */
    double lost;  /* degrees of freedom that constants, slopes and bows take */
    bool bows;    /* of segments are taken out, too: set before rows are filled */
    double *row;  /* n rows of SPW_COLUMNS, as last filled */
} spw_bins;

/* Bins of bin_s; `simple`: the first integral alone is filled, the others stay 0; memory for at
 * most so many. */
spw_status spw_bins_make(const spw_trace *trace, const spw_mark *marks, size_t n, double bin_s,
                         bool simple, spw_bins *bins) SPW_CHECKED;
void spw_bins_free(spw_bins *bins);
/* Every `by` of them on one plateau as one, but for those nearer to a transition than a
 * converter rings. */
spw_status spw_bins_merge(const spw_bins *bins, size_t by, spw_bins *merged) SPW_CHECKED;

/* Fills the rows: with the `lines` multiples of w (radians a sample; 0: none) and, when
 * `about` tells their amplitudes, a column for w's own change. */
void spw_bins_fill(spw_bins *bins, double w, const int *line, size_t lines,
                   const spw_smooth *about);

typedef struct spw_fitted {
    double value[SPW_COLUMNS], error[SPW_COLUMNS]; /* by column; 0 where left out */
    double rss, dof;
} spw_fitted;
/* Least squares of column Y on the chosen columns; false when they tell nothing. */
bool spw_bins_solve(const spw_bins *bins, const size_t *use, size_t n, spw_fitted *fitted);

#endif
