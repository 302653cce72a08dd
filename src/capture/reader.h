/* One reader a format; open.c recognises the content and calls it. */
#ifndef SPW_READER_H
#define SPW_READER_H

#include "capture/emit.h"
#include "capture/source/source.h"

/* Reads the whole content of `source` into the emitter's sink.
 *   summary   zeroed but for `format`; the reader fills channels, duration_s,
 *             truncated, recognised and warnings (open.c frees it on failure,
 *             and adds the source's own damage)
 * A reader's errors carry line or byte; open.c adds the file's name. */
typedef spw_status spw_reader(spw_source *source, const spw_read_options *options,
                              spw_emitter *emitter, spw_capture_summary *summary, spw_error *error);

spw_reader spw_vcd_read;
spw_reader spw_table_read;
spw_reader spw_raw_read;
spw_reader spw_audio_read;

/* How sure a format is of a beginning (up to SPW_SOURCE_LOOK_MAX bytes,
 * `whole` when that is all there is). */
bool spw_vcd_recognises(const char *head, size_t length, bool whole);
bool spw_table_recognises(const char *head, size_t length, bool whole);
bool spw_audio_recognises(const char *head, size_t length, bool whole);

/* spw_capture_read from an open source: recognises and reads. The options are
 * those of spw_capture_read. */
spw_status spw_capture_read_source(spw_source *source, const spw_read_options *options,
                                   const spw_sink *sink, spw_capture_summary *summary,
                                   spw_error *error) SPW_CHECKED;

#endif
