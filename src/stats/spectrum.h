/* Transforms for the other files of this stage; planning stays in spectrum.c. */
#ifndef SPW_SPECTRUM_H
#define SPW_SPECTRUM_H

#include <complex.h>
#include <fftw3.h>
#include <stdbool.h>
#include <stddef.h>

/* Forward transform of n real values (n <= INT_MAX); `in` is overwritten.
 *   out   n/2 + 1 values
 * Both from fftw_alloc. False when FFTW cannot plan. */
bool spw_transform(double *in, fftw_complex *out, size_t n);

#endif
