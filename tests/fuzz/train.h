/* Pulse trains made from a few bytes, and captures of them: so that a fuzzer meets what comes
 * after the readers without having to invent a whole capture. */
#ifndef SPW_FUZZ_TRAIN_H
#define SPW_FUZZ_TRAIN_H

#include "fuzz/shared.h"

#define FUZZ_FRAMES_MAX 600

typedef struct fuzz_pulse {
    long lead_ns, width_ns;
} fuzz_pulse;

typedef struct fuzz_train {
    fuzz_pulse pulse[FUZZ_FRAMES_MAX];
    size_t pulses;
    long end_ns;
} fuzz_train;

/* Four bytes a hold: width (two), frames, and bits: 0-2 the frame's length, 3-5 jitter,
 * 6 an idle second after it, 7 a pulse cut in two. At most `most` frames. */
void fuzz_train_make(fuzz_input *input, size_t most, fuzz_train *train);

/* Captures; append to text. `lines` 2 adds what an adapter makes of it. */
void fuzz_train_vcd(const fuzz_train *train, int lines, spw_text *text);
void fuzz_train_table(const fuzz_train *train, spw_text *text);
/* Eight lines a byte, the train on line 0. */
void fuzz_train_raw(const fuzz_train *train, double rate_hz, spw_text *text);
/* Sample number i: the share of its period that the line was high, 0 to 1; calls with i
 * rising. Start with *at 0. */
double fuzz_train_sample(const fuzz_train *train, double rate_hz, uint64_t i, size_t *at);
/* WAV (RIFF) of 16 bits, one channel. */
void fuzz_train_wav(const fuzz_train *train, unsigned rate_hz, spw_text *text);

#endif
