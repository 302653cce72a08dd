/* Reading ahead: a thread fills a ring of blocks while others are analysed. */
#ifndef SPW_CAPTURE_SOURCE_READ_AHEAD_H
#define SPW_CAPTURE_SOURCE_READ_AHEAD_H

#include "capture/source/input.h"
#include "capture/source/unpack.h"

#define SPW_AHEAD_DAMAGE 384

typedef struct spw_ahead spw_ahead;

/* Goes on reading the unpacker, which reads the input; both are borrowed and
 * are the thread's alone until spw_ahead_free. The input's progress is told by
 * spw_ahead_read, in its caller's thread. NULL where no thread can be had. */
spw_ahead *spw_ahead_new(spw_input *input, spw_unpacker *unpacker);
/* As spw_unpacker_read; damage has room for SPW_AHEAD_DAMAGE bytes. */
ssize_t spw_ahead_read(spw_ahead *ahead, char *data, size_t room, char *damage);
/* What spw_ahead_read would copy next; *data stays valid until the next look or read. */
ssize_t spw_ahead_look(spw_ahead *ahead, const char **data, char *damage);
/* Takes n bytes of the last look. */
void spw_ahead_take(spw_ahead *ahead, size_t n);
void spw_ahead_free(spw_ahead *ahead);

#endif
