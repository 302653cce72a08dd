/* Samples of a simulated recording on their way out: to an edge finder, through a codec,
 * into a file. Mono. */
#ifndef SIM_SOUND_H
#define SIM_SOUND_H

#include "spanwright/edges.h"

typedef enum sim_codec {
    SIM_PCM_16,
    SIM_PCM_24,
    SIM_PCM_U8,
    SIM_FLOAT,
    SIM_MS_ADPCM,
    SIM_IMA_ADPCM,
    SIM_GSM610, /* 8 kHz speech, at any rate */
    SIM_ULAW,
    SIM_FLAC,
    SIM_VORBIS, /* quality 0 ... 1 */
    SIM_OPUS,   /* 48 kHz; the same */
    SIM_MP3     /* 44.1 and 48 kHz; the same */
} sim_codec;

/* Pushes all samples in blocks (0: of 4096). */
spw_status sim_push(spw_edge_finder *finder, const float *samples, size_t n, size_t block);

/* Writes a sound file. False when libsndfile cannot (the codec is not built in, the rate
 * is none of its own) or the disk does not. */
bool sim_sound_write(const char *path, sim_codec codec, double quality, double sample_rate_hz,
                     const float *samples, size_t n);

/* What a codec leaves of the samples, in place (in memory): false as above. Codecs that
 * add samples before or behind (their frames) lose them again. */
bool sim_sound_code(sim_codec codec, double quality, double sample_rate_hz, float *samples,
                    size_t n);

#endif
