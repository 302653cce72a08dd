/* Compressed content, unpacked on the way by libarchive. */
#ifndef SPW_CAPTURE_SOURCE_UNPACK_H
#define SPW_CAPTURE_SOURCE_UNPACK_H

#include "capture/source/input.h"

typedef struct spw_unpacker spw_unpacker;

/* "gzip", "xz", "zstd" by the first bytes, or NULL. */
const char *spw_unpack_recognises(const char *head, size_t length);
/* A sentence about content to be unpacked by other means first (an archive of
 * several files, another compression), or NULL. */
const char *spw_unpack_refuses(const char *head, size_t length);

/* Bytes that are unpacked at most. One pass of a packer shrinks nothing to less than a
 * 32768th (zstd's run of one byte: 4 bytes for 128 KiB, RFC 8878, 3.1.1.2), and content
 * packed twice is refused: with this bound no small file keeps a machine busy for hours. */
#define SPW_UNPACKED_MAX_GIB 64
#define SPW_UNPACKED_MAX ((uint64_t)SPW_UNPACKED_MAX_GIB << 30)

/* Starts on an input, borrowed, from its first byte. `name` as recognised.
 * Errors: FORMAT (damaged from the start), EMPTY, IO, MEMORY, UNSUPPORTED (packed more
 * than once). */
spw_status spw_unpacker_new(spw_input *input, const char *name, spw_unpacker **unpacker,
                            spw_error *error) SPW_CHECKED;
/* Up to `room` bytes. 0: the end; -1: damaged here or SPW_UNPACKED_MAX reached, *damage
 * filled. */
ssize_t spw_unpacker_read(spw_unpacker *unpacker, char *data, size_t room, char *damage,
                          size_t damage_room);
/* For tests: another bound. */
void spw_unpacker_bound(spw_unpacker *unpacker, uint64_t most);
void spw_unpacker_free(spw_unpacker *unpacker);

#endif
