/* Clipped samples tell no instant, but the integrals that undo the coupling run through
 * them: cut short, they lift what follows by the coupling's share of what was cut. */
#ifndef SPW_RESTORE_H
#define SPW_RESTORE_H

#include "edges/shape.h"
#include "edges/trace.h"

typedef struct spw_clip {
    float *y; /* the trace's own samples, ... */
    uint8_t *flag;
    float low, high; /* from where they clip */
    double noise;
} spw_clip;

/* Puts in place of every clipped sample what the shape tells that it was, from the level
 * of the good samples just before. They stay flagged: no fit takes them for measured
 * ones. Flags, too, samples that only their noise kept from being clipped: those that are
 * left of such a place are the low ones, and would pull the fit down. */
void spw_restore_clipped(const spw_clip *clip, const spw_trace *trace, const spw_smooth *smooth,
                         const spw_shape *shape, const spw_mark *marks, size_t n);

#endif
