#include "capture/sound/split.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#define CODE_SCALE 0x1p-15F

/* Four pairs of codes, in the compiler's own vectors. */
typedef int32_t four_pairs __attribute__((vector_size(16)));
typedef uint32_t four_bits __attribute__((vector_size(16)));
typedef float four_samples __attribute__((vector_size(16)));

/* The later or the earlier code of each pair, sign and all. */
static inline four_pairs codes_of(four_bits pairs, bool later) {
#if __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
    later = !later;
#endif
    return (four_pairs)(later ? pairs : pairs << 16) >> 16;
}

static inline void put(four_pairs codes, float *out) {
    four_samples samples = __builtin_convertvector(codes, four_samples) * CODE_SCALE;
    memcpy(out, &samples, sizeof samples);
}

/* One of two channels. */
static size_t split_two(const short *frames, size_t n, bool later, float *out) {
    size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        four_bits pairs;
        memcpy(&pairs, frames + 2 * i, sizeof pairs);
        put(codes_of(pairs, later), out + i);
    }
    return i;
}

/* The only channel. */
static size_t convert(const short *frames, size_t n, float *out) {
    typedef int16_t four_codes __attribute__((vector_size(8)));
    size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        four_codes codes;
        memcpy(&codes, frames + i, sizeof codes);
        put(__builtin_convertvector(codes, four_pairs), out + i);
    }
    return i;
}

void spw_sound_split_codes(const short *frames, size_t n, size_t channels, size_t channel,
                           float *out) {
    size_t i = 0;
    if (channels == 1)
        i = convert(frames, n, out);
    else if (channels == 2)
        i = split_two(frames, n, channel == 1, out);
    for (; i < n; i++)
        out[i] = (float)frames[i * channels + channel] * CODE_SCALE;
}

void spw_sound_split(const float *frames, size_t n, size_t channels, size_t channel, float *out) {
    for (size_t i = 0; i < n; i++) {
        float value = frames[i * channels + channel];
        out[i] = isfinite(value) ? value : NAN;
    }
}
