/* Files and pipes for tests: a folder of its own, removed afterwards. */
#ifndef SPW_SCRATCH_H
#define SPW_SCRATCH_H

#include <stddef.h>

struct archive;

/* cmocka group set-up and tear-down: the folder; everything in it goes. */
int scratch_make(void **state);
int scratch_remove(void **state);
/* Path of a name in the folder; valid until eight calls later. */
const char *scratch_path(const char *name);
/* Writes a file and returns its path. */
const char *scratch_file(const char *name, const void *bytes, size_t length);

/* Packs by libarchive: filter is archive_write_add_filter_gzip, _xz, _zstd ...
 * Returns the packed bytes (free) and their number. */
char *scratch_pack(int (*filter)(struct archive *), const void *bytes, size_t length,
                   size_t *packed);

/* Bytes on standard input by way of a pipe, fed by a thread `piece` bytes at a
 * time with `pause_us` between; until scratch_stdin_end. */
void scratch_stdin(const void *bytes, size_t length, size_t piece, unsigned pause_us);
void scratch_stdin_end(void);

#endif
