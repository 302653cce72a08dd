/* The recorder's step, found from the instants of a capture's level changes.
 *
 * Files print nanoseconds where recorders sample every 4 or 10 us. Every interval
 * between two sampled edges is a whole number of steps, give or take how the file rounds
 * an instant. Collected in one pass, in memory that does not grow. */
#ifndef SPW_GRID_H
#define SPW_GRID_H

#include "spanwright/base.h"

/* Recorders of control pulses sample at 40 kHz at least (common practice). What lies on a
 * coarser grid was sent so, by a controller that shares the recorder's clock. */
#define SPW_GRID_MAX_S 25e-6
/* Different intervals kept; more tell nothing new. */
#define SPW_GRID_KEPT 1024u

typedef struct spw_grid {
    double tick_s;      /* of the file: what instants are multiples of */
    double pause;       /* ticks: what lasts longer may be a break of the recorder's count */
    uint64_t common;    /* greatest common divisor of all intervals, in ticks; 0: none yet */
    uint64_t intervals; /* all */
    uint64_t different[SPW_GRID_KEPT];
    uint16_t slot[2 * SPW_GRID_KEPT]; /* hash of different[]: index + 1 */
    uint32_t n;
} spw_grid;

/* What was found. */
typedef enum spw_grid_kind {
    SPW_GRID_NONE,    /* no grid but the file's own */
    SPW_GRID_FOUND,   /* by so many different intervals that it is no chance */
    SPW_GRID_FEW,     /* by too few different intervals to tell chance from grid */
    SPW_GRID_COUNTER, /* by a counter of the controller's that divides its frame; not told here */
    SPW_GRID_COARSE,  /* coarser than recorders sample: step_s is SPW_GRID_MAX_S */
} spw_grid_kind;
typedef struct spw_grid_answer {
    spw_grid_kind kind;
    double grid_s; /* that all edges lie on; NAN for NONE */
    double step_s; /* to be taken for the recorder's, never less than the file's */
} spw_grid_answer;

/*   tick_s  > 0, the file's time unit or last digit
 *   end_s   the last instant: where doubles cannot tell ticks apart, coarser ones are taken */
void spw_grid_start(spw_grid *grid, double tick_s, double end_s);
/* Takes the interval between two edges, of any channels, in any order. */
void spw_grid_take(spw_grid *grid, double from_s, double to_s);
/* A grid that is no whole number of ticks was held against the intervals kept only:
 * where grid->n is SPW_GRID_KEPT, spw_grid_fits has to say yes for all. */
spw_grid_answer spw_grid_find(const spw_grid *grid);

/* Is an interval a whole number of steps, as nearly as instants rounded to tick_s can show?
 * Always true where the step is too fine for that. */
bool spw_grid_fits(const spw_grid *grid, double step_s, double tick_s, double from_s, double to_s);
/* A step as coarse as rounding its instants to ticks makes it. */
double spw_grid_rounded_s(double step_s, double tick_s);

#endif
