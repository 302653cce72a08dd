/* libsndfile seeks in the header and past the samples (for chunks behind
 * them). While the header is read nothing is taken: what was looked at can be
 * had again, and what lies past the largest look-ahead is told to be absent.
 * From then on the position only goes forward. */
#include "capture/sound/stream.h"

#include <stdlib.h>
#include <string.h>

#define LOOK ((size_t)1 << 16)

static sf_count_t length_of(void *context) {
    const spw_sound_stream *stream = context;
    if (stream->held != NULL)
        return (sf_count_t)stream->held_length;
    return stream->told_length != 0 ? (sf_count_t)stream->told_length : SPW_SOUND_ENDLESS;
}

static sf_count_t tell(void *context) {
    const spw_sound_stream *stream = context;
    return stream->at;
}

static sf_count_t seek(sf_count_t offset, int whence, void *context) {
    spw_sound_stream *stream = context;
    sf_count_t from = 0;
    if (whence == SEEK_CUR)
        from = stream->at;
    else if (whence == SEEK_END)
        from = length_of(context);
    else if (whence != SEEK_SET)
        return -1;
    sf_count_t to;
    if (__builtin_add_overflow(from, offset, &to) || to < 0)
        return -1;
    stream->at = to;
    return to;
}

static void apply_patches(const spw_sound_stream *stream, unsigned char *data, size_t length) {
    uint64_t from = (uint64_t)stream->at;
    for (size_t i = 0; i < stream->patches; i++)
        for (size_t k = 0; k < stream->patch[i].length; k++) {
            uint64_t at = stream->patch[i].at + k;
            if (at >= from && at - from < length)
                data[at - from] = stream->patch[i].bytes[k];
        }
}

static size_t read_held(const spw_sound_stream *stream, char *out, size_t wanted) {
    if ((uint64_t)stream->at >= stream->held_length)
        return 0;
    size_t rest = stream->held_length - (size_t)stream->at;
    size_t n = wanted < rest ? wanted : rest;
    memcpy(out, stream->held + stream->at, n);
    return n;
}

static bool look(spw_sound_stream *stream, size_t want, const char **data, size_t *got) {
    if (stream->status == SPW_OK)
        stream->status = spw_source_look(stream->source, want, data, got, stream->error);
    return stream->status == SPW_OK;
}

static size_t peek(spw_sound_stream *stream, char *out, size_t wanted) {
    if ((uint64_t)stream->at >= SPW_SOURCE_LOOK_MAX) {
        stream->lost = true;
        return 0;
    }
    size_t from = (size_t)stream->at;
    size_t most = SPW_SOURCE_LOOK_MAX - from;
    size_t n = wanted < most ? wanted : most;
    const char *data;
    size_t got;
    if (!look(stream, from + n, &data, &got) || got <= from)
        return 0;
    if (n > got - from)
        n = got - from;
    memcpy(out, data + from, n);
    return n;
}

/* libsndfile's readers of chunks end at the file's length, which they are not
 * told, or at a chunk without a name: so zeros follow what there is. Not for
 * ever: some codecs are decoded to their end when they are opened. A FLAC
 * decoder would look for a frame in them and gets the end at once. */
static size_t read_header(spw_sound_stream *stream, char *out, size_t wanted) {
    size_t n = peek(stream, out, wanted);
    size_t rest = wanted - n;
    size_t made_up = rest < stream->zeros ? rest : stream->zeros;
    memset(out + n, 0, made_up);
    stream->zeros -= made_up;
    return n + made_up;
}

/* Takes what lies before the position; false when that is impossible. */
static bool catch_up(spw_sound_stream *stream) {
    uint64_t to = (uint64_t)stream->at;
    if (to < spw_source_position(stream->source)) {
        stream->lost = true;
        return false;
    }
    while (spw_source_position(stream->source) < to) {
        const char *data;
        size_t got;
        if (!look(stream, 1, &data, &got))
            return false;
        if (got == 0) {
            stream->ended = true;
            return false;
        }
        uint64_t rest = to - spw_source_position(stream->source);
        spw_source_take(stream->source, got < rest ? got : (size_t)rest);
    }
    return true;
}

static size_t read_samples(spw_sound_stream *stream, char *out, size_t wanted) {
    size_t done = 0;
    if (!catch_up(stream))
        return 0;
    while (done < wanted) {
        size_t rest = wanted - done;
        const char *data;
        size_t got;
        if (!look(stream, 1, &data, &got))
            break;
        if (got == 0) {
            stream->ended = true;
            break;
        }
        size_t n = got < rest ? got : rest;
        memcpy(out + done, data, n);
        spw_source_take(stream->source, n);
        done += n;
    }
    return done;
}

static sf_count_t read_bytes(void *out, sf_count_t count, void *context) {
    spw_sound_stream *stream = context;
    if (count <= 0)
        return 0;
    size_t n;
    if (stream->held != NULL)
        n = read_held(stream, out, (size_t)count);
    else if (stream->playing)
        n = read_samples(stream, out, (size_t)count);
    else
        n = read_header(stream, out, (size_t)count);
    apply_patches(stream, out, n);
    stream->at += (sf_count_t)n;
    return (sf_count_t)n;
}

SF_VIRTUAL_IO spw_sound_callbacks(void) {
    return (SF_VIRTUAL_IO){
        .get_filelen = length_of, .seek = seek, .read = read_bytes, .write = NULL, .tell = tell};
}

spw_status spw_sound_hold(spw_sound_stream *stream) {
    size_t room = 0, n = 0;
    char *held = NULL;
    spw_status status;
    for (;;) {
        const char *data;
        size_t got;
        status = spw_source_look(stream->source, LOOK, &data, &got, stream->error);
        if (status != SPW_OK || got == 0)
            break;
        if (got > SPW_SOUND_HELD_MAX - n) {
            status = spw_error_set(stream->error, SPW_ERR_LIMIT,
                                   "sound files of this kind are read up to %zu MiB; convert it "
                                   "to WAV or FLAC and read that",
                                   SPW_SOUND_HELD_MAX >> 20);
            break;
        }
        if (got > room - n) {
            room = room < LOOK ? 4 * LOOK : 2 * room;
            room = room < n + got ? n + got : room;
            char *grown = realloc(held, room);
            if (grown == NULL) {
                status = spw_error_set(stream->error, SPW_ERR_MEMORY, "out of memory");
                break;
            }
            held = grown;
        }
        memcpy(held + n, data, got);
        n += got;
        spw_source_take(stream->source, got);
    }
    if (status != SPW_OK || held == NULL) {
        free(held);
        return status;
    }
    stream->held = held;
    stream->held_length = n;
    return SPW_OK;
}
