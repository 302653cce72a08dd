/* Where a reader's bytes come from: a file or a pipe, decompressed on the way
 * (gzip, xz, zstd, recognised by content), with look-ahead, in bounded memory. */
#ifndef SPW_CAPTURE_SOURCE_SOURCE_H
#define SPW_CAPTURE_SOURCE_SOURCE_H

#include "spanwright/capture.h"

typedef struct spw_source spw_source;

/* path "-": standard input. Errors: IO (missing, a directory, unreadable),
 * EMPTY (no byte in it), UNSUPPORTED (an archive of files), MEMORY. */
spw_status spw_source_open(const char *path, const spw_read_options *options, spw_source **source,
                           spw_error *error) SPW_CHECKED;
/* A source over bytes in memory, borrowed until the source is freed (tests, fuzzing). */
spw_status spw_source_memory(const char *bytes, size_t length, spw_source **source) SPW_CHECKED;
/* For tests and fuzzing: a look into memory gives at most `step` bytes, or
 * what is wanted if that is more, so that borders come everywhere. 0: no bound. */
void spw_source_step(spw_source *source, size_t step);
/* For tests: bytes that are unpacked at most, SPW_UNPACKED_MAX otherwise. */
void spw_source_bound(spw_source *source, uint64_t most);
void spw_source_free(spw_source *source);

/* The largest look-ahead. */
#define SPW_SOURCE_LOOK_MAX ((size_t)1 << 20)

/* Looks at what comes next without taking it.
 *   want   bytes wished for, <= SPW_SOURCE_LOOK_MAX
 *   got    out: bytes at *data; >= want unless the content ends before; often more
 * *data stays valid until the next call on this source. got 0: the end.
 * Damaged compression or a failed read is the end of the content, noted in
 * spw_source_damage; it is an error only when nothing at all was delivered. */
spw_status spw_source_look(spw_source *source, size_t want, const char **data, size_t *got,
                           spw_error *error) SPW_CHECKED;
/* Takes n bytes, n <= got of the last look. */
void spw_source_take(spw_source *source, size_t n);
/* Bytes taken so far (of the decompressed content). */
uint64_t spw_source_position(const spw_source *source);
/* NULL, or a sentence why the content ends before its end; valid until freed. */
const char *spw_source_damage(const spw_source *source);
/* Was the content compressed? Its name ("gzip") or NULL. */
const char *spw_source_compression(const spw_source *source);
/* Size of the file itself when it is an uncompressed regular file, else 0. */
uint64_t spw_source_size(const spw_source *source);

#endif
