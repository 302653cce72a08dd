/* The equations of a shape's coefficients: sums over pulses, and penalties on what no
 * recorder passes. */
#ifndef SPW_NORMAL_H
#define SPW_NORMAL_H

#include "edges/fit.h"

enum { SPW_NUISANCE = 5 }; /* of a pulse: two instants, a background of second order */
/* Pulses whose nuisance is projected out of the Gram matrix at once. */
enum { SPW_BATCH = 24, SPW_BATCH_COLUMNS = SPW_BATCH * SPW_NUISANCE };

typedef struct spw_normal {
    size_t n; /* coefficients */
    double *block;
    double *gram;     /* as in dense.h: rows of all pulses, nuisance projected out */
    double *system;   /* likewise: the factor */
    double *scratch;  /* for it */
    double *apart;    /* 2 n - 1: penalties of two coefficients by how far they are apart, */
    double *last;     /* n: those of the last one with each */
    double *nuisance; /* n packed rows: what they have in common with the nuisance of a batch */
    size_t batch;     /* pulses in it */
    double *right;    /* n: rows times residuals; while they are summed, the knots in rows */
    double *row[SPW_KNOTS]; /* like those of the shape */
    double high;            /* and the residuals after transitions */
    double *start;          /* n */
    double *at;             /* n: coefficients that the last step started from, */
    double *gradient;       /* n: the gradient there, */
    double *direction, *solved;
    double *shift, *answer; /* n: of the shape; and the system's to it */
    double power;           /* and gradient times direction */
    double pulses;          /* in the Gram matrix */
} spw_normal;

/* For n coefficients that start at `start`; penalties in proportion to the pulses:
 * lambda on the fourth differences, mu on the energy of the slope above the band. */
spw_status spw_normal_new(spw_normal *e, const double *start, size_t n, double lambda,
                          double mu) SPW_CHECKED;
void spw_normal_free(spw_normal *e);

/* Starts sums afresh: the right side, and the Gram matrix too when `gram`. */
void spw_normal_clear(spw_normal *e, bool gram);
/* Adds a pulse: residuals that its nuisance has no part in any more, and, when q is
 * not NULL, its rows to the Gram matrix without orthonormal nuisance columns q. Residuals
 * and columns are zero where samples are not used. */
void spw_normal_add(spw_normal *e, const spw_window *w, const spw_shape *shape,
                    const spw_mark *pair, const double *residual, double (*q)[SPW_WINDOW_MOST]);
/* Factorises the Gram matrix, taken as that of `pulses` pulses, with penalties and a
 * pull towards the start. False when there is nothing in it. */
bool spw_normal_factor(spw_normal *e, double pulses, double pull);
/* The shape moved by one step of the right side; false when that is no number. */
bool spw_normal_step(spw_normal *e, double pulses, double pull, spw_shape *shape);
/* After a step: a right side summed with the moved shape tells how far it should have
 * gone and where to go next. Conjugate gradients (Hestenes and Stiefel 1952), the
 * factorised matrix, which is that of some of the pulses, as preconditioner. The rms
 * change of the coefficients; 0 when it can go no further. The shape is a trial one until
 * it is settled. */
double spw_normal_descend(spw_normal *e, double pulses, double pull, spw_shape *shape);
void spw_normal_settle(const spw_normal *e, spw_shape *shape);

#endif
