/* A sound file for libsndfile over a source that only goes forward. */
#ifndef SPW_CAPTURE_SOUND_STREAM_H
#define SPW_CAPTURE_SOUND_STREAM_H

#include "capture/source/source.h"

#include <sndfile.h>

/* Codecs whose containers libsndfile has to search from the end are held
 * whole; up to here (about twenty minutes of Vorbis). */
#define SPW_SOUND_HELD_MAX ((size_t)16 << 20)
/* The length that is told where the real one is not known. */
#define SPW_SOUND_ENDLESS ((sf_count_t)1 << 62)

/* Zeros after a header of chunks: many times what a chunk's head takes. */
#define SPW_SOUND_ZEROS ((size_t)1 << 16)

#define SPW_SOUND_PATCHES 2

/* Bytes of the header that are told otherwise than they stand there. */
typedef struct spw_sound_patch {
    uint64_t at;
    size_t length;
    unsigned char bytes[8];
} spw_sound_patch;

typedef struct spw_sound_stream {
    spw_source *source;
    sf_count_t at;
    size_t zeros; /* may still follow the header's bytes: see read_header */
    bool playing; /* the header is read: what is passed is taken */
    bool lost;    /* bytes were asked for that are gone or out of reach */
    bool ended;   /* the content's end was met */
    char *held;   /* the whole content, or NULL */
    size_t held_length;
    uint64_t told_length; /* by the header, where libsndfile asks the file; else 0 */
    size_t patches;
    spw_sound_patch patch[SPW_SOUND_PATCHES];
    spw_status status; /* of a look that failed */
    spw_error *error;
} spw_sound_stream;

/* What the header is, in what concerns reading it from a pipe. */
typedef enum spw_sound_kind {
    SPW_SOUND_NONE,    /* no sound file */
    SPW_SOUND_FORWARD, /* is read from front to back */
    SPW_SOUND_WHOLE,   /* has to be held whole */
    SPW_SOUND_MPEG     /* not read: its decoder prints, and its edges are not worth it */
} spw_sound_kind;
spw_sound_kind spw_sound_recognise(const char *head, size_t length);
/* Patches for a header whose writer never came back to fill in the length
 * (a pipe, a recorder cut off); returns their number, 0 when all is well. */
size_t spw_sound_repair(const char *head, size_t length, spw_sound_patch patch[SPW_SOUND_PATCHES]);
/* Samples a second that the header of a WAV or AU file claims; 1 for another. */
uint32_t spw_sound_rate(const char *head, size_t length);
/* Where the samples of a W64 file end, which libsndfile takes from the file's
 * length alone; 0 when unknown. */
uint64_t spw_sound_end(const char *head, size_t length);

/* Takes the whole content into stream->held. LIMIT past SPW_SOUND_HELD_MAX. */
spw_status spw_sound_hold(spw_sound_stream *stream) SPW_CHECKED;
/* The callbacks for sf_open_virtual; their context is the stream. */
SF_VIRTUAL_IO spw_sound_callbacks(void);

#endif
