#include "sim/sound.h"

#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

spw_status sim_push(spw_edge_finder *finder, const float *samples, size_t n, size_t block) {
    spw_status status = SPW_OK;
    size_t most = block > 0 ? block : 4096;
    for (size_t at = 0; status == SPW_OK && at < n;) {
        size_t take = most < n - at ? most : n - at;
        status = spw_edge_finder_push(finder, samples + at, take);
        at += take;
    }
    return status;
}

static int format_of(sim_codec codec) {
    static const int format[] = {
        [SIM_PCM_16] = SF_FORMAT_WAV | SF_FORMAT_PCM_16,
        [SIM_PCM_24] = SF_FORMAT_WAV | SF_FORMAT_PCM_24,
        [SIM_PCM_U8] = SF_FORMAT_WAV | SF_FORMAT_PCM_U8,
        [SIM_FLOAT] = SF_FORMAT_WAV | SF_FORMAT_FLOAT,
        [SIM_MS_ADPCM] = SF_FORMAT_WAV | SF_FORMAT_MS_ADPCM,
        [SIM_IMA_ADPCM] = SF_FORMAT_WAV | SF_FORMAT_IMA_ADPCM,
        [SIM_GSM610] = SF_FORMAT_WAV | SF_FORMAT_GSM610,
        [SIM_ULAW] = SF_FORMAT_WAV | SF_FORMAT_ULAW,
        [SIM_FLAC] = SF_FORMAT_FLAC | SF_FORMAT_PCM_16,
        [SIM_VORBIS] = SF_FORMAT_OGG | SF_FORMAT_VORBIS,
        [SIM_OPUS] = SF_FORMAT_OGG | SF_FORMAT_OPUS,
        [SIM_MP3] = SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III,
    };
    return format[codec];
}

static SF_INFO info_of(sim_codec codec, double rate_hz) {
    return (SF_INFO){.samplerate = (int)rint(rate_hz), .channels = 1, .format = format_of(codec)};
}

static bool write_all(SNDFILE *file, double quality, const float *samples, size_t n) {
    enum { PART = 65536 }; /* the Vorbis encoder takes all that it gets onto the stack */
    if (file == NULL)
        return false;
    sf_command(file, SFC_SET_VBR_ENCODING_QUALITY, &quality, sizeof quality);
    sf_command(file, SFC_SET_CLIPPING, NULL, SF_TRUE);
    bool good = true;
    for (size_t at = 0; good && at < n;) {
        size_t take = n - at < PART ? n - at : PART;
        good = sf_write_float(file, samples + at, (sf_count_t)take) == (sf_count_t)take;
        at += take;
    }
    return sf_close(file) == 0 && good;
}

bool sim_sound_write(const char *path, sim_codec codec, double quality, double rate_hz,
                     const float *samples, size_t n) {
    SF_INFO info = info_of(codec, rate_hz);
    return sf_format_check(&info) &&
           write_all(sf_open(path, SFM_WRITE, &info), quality, samples, n);
}

/* A file in memory. */
typedef struct store {
    char *byte;
    sf_count_t n, room, at;
} store;

static sf_count_t store_length(void *context) {
    return ((store *)context)->n;
}
static sf_count_t store_seek(sf_count_t offset, int whence, void *context) {
    store *s = context;
    s->at = offset + (whence == SEEK_CUR ? s->at : whence == SEEK_END ? s->n : 0);
    return s->at;
}
static sf_count_t store_read(void *to, sf_count_t count, void *context) {
    store *s = context;
    sf_count_t take = s->at < s->n ? s->n - s->at : 0;
    take = take < count ? take : count;
    memcpy(to, s->byte + s->at, (size_t)take);
    s->at += take;
    return take;
}
static sf_count_t store_write(const void *from, sf_count_t count, void *context) {
    store *s = context;
    if (s->at + count > s->room) {
        sf_count_t room = 2 * (s->at + count);
        char *byte = realloc(s->byte, (size_t)room);
        if (byte == NULL)
            return 0;
        memset(byte + s->room, 0, (size_t)(room - s->room));
        s->byte = byte;
        s->room = room;
    }
    memcpy(s->byte + s->at, from, (size_t)count);
    s->at += count;
    s->n = s->n > s->at ? s->n : s->at;
    return count;
}
static sf_count_t store_tell(void *context) {
    return ((store *)context)->at;
}

bool sim_sound_code(sim_codec codec, double quality, double rate_hz, float *samples, size_t n) {
    SF_VIRTUAL_IO io = {store_length, store_seek, store_read, store_write, store_tell};
    SF_INFO info = info_of(codec, rate_hz), back = {0};
    store s = {0};
    if (!sf_format_check(&info) ||
        !write_all(sf_open_virtual(&io, SFM_WRITE, &info, &s), quality, samples, n)) {
        free(s.byte);
        return false;
    }
    s.at = 0;
    SNDFILE *file = sf_open_virtual(&io, SFM_READ, &back, &s);
    sf_count_t got = file != NULL ? sf_read_float(file, samples, (sf_count_t)n) : -1;
    for (sf_count_t i = got < 0 ? (sf_count_t)n : got; i < (sf_count_t)n; i++)
        samples[i] = 0;
    if (file != NULL)
        sf_close(file);
    free(s.byte);
    return got > 0;
}
