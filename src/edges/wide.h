/* Four numbers at a time. Functions marked SPW_WIDE exist twice where the system can choose
 * when a program starts (GNU C library on x86-64: processors with AVX2 and others); elsewhere
 * compilers make two pairs of the four. The sums and their order are the same. */
#ifndef SPW_WIDE_H
#define SPW_WIDE_H

#include <stdint.h>

typedef double spw_quad __attribute__((vector_size(32)));
typedef double spw_quad_loose __attribute__((vector_size(32), aligned(8), may_alias));
typedef int64_t spw_quad_masks __attribute__((vector_size(32)));
/* The four doubles from an address on, to read or to write. (Not a function: how one would
 * return them differs between processors.) */
#define SPW_QUAD(at) (*(spw_quad_loose *)(at))
#define SPW_QUAD_OF(at) (*(const spw_quad_loose *)(at))
/* No function either: magnitudes; yes where the mask is set, no elsewhere. */
#define SPW_QUAD_MAGNITUDE(q) ((spw_quad)((spw_quad_masks)(q)&INT64_MAX))
#define SPW_QUAD_PICK(mask, yes, no)                                                               \
    ((spw_quad)(((mask) & (spw_quad_masks)(yes)) | (~(mask) & (spw_quad_masks)(no))))

static inline double spw_quad_sum(const spw_quad *q) {
    return ((*q)[0] + (*q)[1]) + ((*q)[2] + (*q)[3]);
}

/* SPW_NARROW: builds that watch what runs (sanitizers, coverage) have one of each. */
#if defined(__x86_64__) && defined(__GLIBC__) && !defined(SPW_NARROW)
#define SPW_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define SPW_WIDE
#endif

#endif
