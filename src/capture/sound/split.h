/* Interleaved frames to the samples of one channel. */
#ifndef SPW_CAPTURE_SOUND_SPLIT_H
#define SPW_CAPTURE_SOUND_SPLIT_H

#include <stddef.h>

/* Channel `channel` (of `channels`) of n frames: codes of 16 bits, as shares of full scale
 * (the code times 2^-15, as libsndfile has it). */
void spw_sound_split_codes(const short *frames, size_t n, size_t channels, size_t channel,
                           float *out);
/* The same of floating-point samples; what is not finite becomes NAN. */
void spw_sound_split(const float *frames, size_t n, size_t channels, size_t channel, float *out);

#endif
