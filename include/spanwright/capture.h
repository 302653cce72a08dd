/* spanwright: captures of lines, read in one pass and constant memory.
 *
 * A reader pushes what a file holds into an spw_sink: first its channels, then
 * level changes (logic) or blocks of samples (analogue), in time order. A file
 * may hold both kinds (a table of 0/1 and volts). The same calls serve files,
 * pipes and compressed files (gzip, xz, zstd, by content). */
#ifndef SPANWRIGHT_CAPTURE_H
#define SPANWRIGHT_CAPTURE_H

#include "base.h"

#ifdef __cplusplus
extern "C" {
#endif
#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

typedef enum spw_format {
    SPW_FORMAT_VCD,
    SPW_FORMAT_TABLE,
    SPW_FORMAT_RAW,
    SPW_FORMAT_AUDIO
} spw_format;
/* "vcd" "table" "raw" "audio" */
const char *spw_format_name(spw_format format);

typedef enum spw_kind { SPW_KIND_LOGIC, SPW_KIND_ANALOGUE } spw_kind;

typedef enum spw_level { SPW_LEVEL_LOW = 0, SPW_LEVEL_HIGH = 1, SPW_LEVEL_UNKNOWN = 2 } spw_level;

typedef enum spw_unit { SPW_UNIT_NONE, SPW_UNIT_VOLT, SPW_UNIT_FULL_SCALE } spw_unit;

/* One channel, announced before any of its data.
 *   name           raw bytes of the file, NUL-terminated, never safe to print
 *                  as it is; borrowed for the time of the call
 *   resolution_s   step between possible instants (logic: sample period or
 *                  time unit; analogue: sample period); NAN when not known
 *   sampled        logic: resolution_s is the recorder's sample period; else it is what
 *                  the file can print, and the recorder's may be coarser
 *   widths         logic: no levels, but pulse widths that another instrument read and
 *                  printed; resolution_s is that of the times of its rows
 *   sample_rate_hz analogue only, > 0
 *   lossy          the samples went through a lossy codec, ...
 *   codec_samples  ... which moves a width by about so many sample periods (standard
 *                  uncertainty; the largest of several simulated recordings); 0 without
 *   full_scale     analogue: the smallest magnitude that may be a clipped sample
 *                  (16 bits and more: 1 - 2^-15, the largest positive code of a
 *                  16-bit converter), or NAN */
typedef struct spw_channel_info {
    const char *name;
    size_t name_length;
    spw_kind kind;
    spw_unit unit;
    double resolution_s;
    bool sampled;
    bool widths;
    double sample_rate_hz;
    double start_s; /* analogue: instant of sample 0 */
    bool lossy;
    double codec_samples;
    double full_scale;
} spw_channel_info;

/* One level change, 16 bytes. time_s counts from the capture's first instant;
 * `level` is an spw_level. The first change of a channel tells its first
 * level (at time 0, or when it becomes known) and is no edge. A change to and
 * from SPW_LEVEL_UNKNOWN (x, z, a dump switched off) is never an edge. A
 * repeated level may be delivered and means nothing. */
typedef struct spw_change {
    double time_s;
    uint32_t channel;
    uint32_t level;
} spw_change;

/* One reading of a pulse width, as another instrument printed it: > 0 and finite. */
typedef struct spw_reading {
    double time_s; /* of its row, from the first one */
    double width_us;
} spw_reading;

/* Samples are smaller than this, whatever their unit: sums of their squares stay finite.
 * A larger one counts as missing. */
#define SPW_SAMPLE_MAX 1e30f

/* Where a reader puts what it finds. Each call returns SPW_OK to go on; any
 * other status ends the reading and is returned by spw_capture_read.
 *   channel   number `index` (0, 1, ... in order), before any data
 *   changes   n > 0 level changes of any channels, times never falling
 *   samples   n > 0 samples of one channel, the first of them sample number
 *             `first` of that channel (consecutive calls follow without holes);
 *             NAN is a missing sample
 *   readings  n > 0 readings of a channel of widths, times never falling; NULL: they
 *             are not wanted
 * The next two may be NULL. With them a channel's changes may be counted
 * instead of delivered, which is what becomes of a bus clock's:
 *   pass_s    seconds; changes of the channel that each follow the one before
 *             sooner than this, both levels known, need only be counted from
 *             here on. 0: every change is wanted. INFINITY: none is. Valid until
 *             the channel's next change is delivered; asked after `changes`.
 *   passed    n > 0 changes of a channel were counted, the last one at last_s
 *             to `level`; comes before the channel's next change and the end
 * Samples need not be copied where there is
 *   place     memory for the next n > 0 samples of a channel, or NULL; the reader
 *             fills it and hands it to `samples` before any other call
 * All pointers are borrowed for the time of the call. Calls come one at a time, in the
 * thread that reads. */
typedef struct spw_sink {
    void *context;
    spw_status (*channel)(void *context, uint32_t index, const spw_channel_info *info);
    spw_status (*changes)(void *context, const spw_change *changes, size_t n);
    spw_status (*samples)(void *context, uint32_t index, uint64_t first, const float *values,
                          size_t n);
    double (*pass_s)(void *context, uint32_t channel);
    spw_status (*passed)(void *context, uint32_t channel, uint64_t n, double last_s,
                         spw_level level);
    float *(*place)(void *context, uint32_t channel, size_t n);
    spw_status (*readings)(void *context, uint32_t index, const spw_reading *readings, size_t n);
} spw_sink;

typedef enum spw_time_unit {
    SPW_TIME_AUTO,
    SPW_TIME_S,
    SPW_TIME_MS,
    SPW_TIME_US,
    SPW_TIME_NS
} spw_time_unit;

typedef struct spw_read_options {
    bool has_rate;           /* --rate was given: the content may be raw bytes; of level changes
                                at their own times it is the recorder's rate */
    double rate_hz;          /* > 0 and finite when has_rate (SPW_ERR_ARGUMENT otherwise) */
    spw_time_unit time_unit; /* of a table whose header names none */
    /* progress, or NULL: bytes read so far from the file itself (compressed
     * size), its size or 0 when unknown (a pipe) */
    void (*progress)(void *context, uint64_t done, uint64_t total);
    void *progress_context;
    /* A raw stream of unknown length (not packed) ends, with a warning, after so many bytes in
     * which no line changes: a device without an end is no capture. 0: SPW_RAW_STILL_MOST. */
    uint64_t raw_still_most;
} spw_read_options;
#define SPW_RAW_STILL_MOST ((uint64_t)1 << 35)

/* A list of sentences, each safe to show. Zeroed to start. At most
 * SPW_NOTES_MAX are kept, then one that says how many more there were. */
#define SPW_NOTES_MAX 64
typedef struct spw_notes {
    char **text;
    size_t n;
    uint64_t dropped;
} spw_notes;
spw_status spw_notes_add(spw_notes *notes, const char *format, ...) SPW_PRINTF(2, 3) SPW_CHECKED;
void spw_notes_free(spw_notes *notes);

/* What a reader says of the file as a whole. */
typedef struct spw_capture_summary {
    spw_format format;
    uint32_t channels;
    double duration_s;    /* from the first instant to the last one that the file vouches for */
    bool truncated;       /* ended early or damaged after a usable start; a warning says where */
    spw_notes recognised; /* how the content was understood ("comma, header row, time in us") */
    spw_notes warnings;
} spw_capture_summary;
void spw_capture_summary_free(spw_capture_summary *summary);

/* Reads a whole capture. `path` "-" is standard input. Recognises the format
 * by content: an audio header libsndfile knows; VCD keywords; a table of
 * printable rows; raw bytes only when has_rate and nothing else fits.
 * A capture that ends early or is damaged after a usable start is SPW_OK with
 * summary->truncated and a warning that names the place. Statuses: ARGUMENT,
 * IO, FORMAT, LIMIT, MEMORY, UNSUPPORTED (EVCD, archives of several files),
 * EMPTY (an empty file), or what the sink returned. *summary is valid (and to
 * be freed) on SPW_OK only. */
spw_status spw_capture_read(const char *path, const spw_read_options *options, const spw_sink *sink,
                            spw_capture_summary *summary, spw_error *error) SPW_CHECKED;

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif
#ifdef __cplusplus
}
#endif
#endif
