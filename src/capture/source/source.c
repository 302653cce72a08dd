/* Look-ahead over a file, a pipe or memory. The buffer fills a chunk at a
 * time, so that a reader that takes what it looks at stays within the
 * processor's cache however large the largest look-ahead is. */
#include "capture/source/source.h"
#include "base/reason.h"
#include "capture/source/read_ahead.h"
#include "capture/source/unpack.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define CHUNK ((size_t)1 << 18)
#define CAPACITY (SPW_SOURCE_LOOK_MAX + CHUNK)
/* A file that holds more than this is unpacked by a thread of its own. Not a
 * pipe: nobody could end a thread that waits for one. */
#define AHEAD_FROM ((uint64_t)1 << 18)

struct spw_source {
    char *buffer;       /* CAPACITY bytes, or NULL */
    const char *memory; /* or borrowed content */
    size_t start;       /* of what was not taken yet */
    size_t end;
    size_t step; /* largest unasked-for look into memory, 0: no bound */
    bool at_end;
    uint64_t position;
    const char *compression;
    spw_input input;
    spw_unpacker *unpacker;
    bool may_read_ahead;
    spw_ahead *ahead;
    bool lent; /* the last look was into its memory */
    char damage[SPW_AHEAD_DAMAGE];
};

static ssize_t fetch_unpacked(spw_source *source, char *data, size_t room) {
    if (source->may_read_ahead && source->position + source->end - source->start >= AHEAD_FROM) {
        source->may_read_ahead = false;
        source->ahead = spw_ahead_new(&source->input, source->unpacker);
    }
    if (source->ahead != NULL)
        return spw_ahead_read(source->ahead, data, room, source->damage);
    return spw_unpacker_read(source->unpacker, data, room, source->damage, sizeof source->damage);
}

static ssize_t fetch(spw_source *source, char *data, size_t room) {
    if (source->unpacker != NULL)
        return fetch_unpacked(source, data, room);
    ssize_t got = spw_input_read(&source->input, data, room);
    if (got < 0) {
        char buffer[128];
        (void)snprintf(source->damage, sizeof source->damage,
                       "reading failed at byte %llu of the file: %s; what comes before was read",
                       (unsigned long long)source->input.done,
                       spw_reason(source->input.failure, buffer, sizeof buffer));
    }
    return got;
}

/* Makes at least `want` bytes wait unless the content ends before. */
static void fill(spw_source *source, size_t want) {
    if (source->end - source->start >= want || source->at_end)
        return;
    if (source->start > 0) {
        memmove(source->buffer, source->buffer + source->start, source->end - source->start);
        source->end -= source->start;
        source->start = 0;
    }
    while (source->end < want) {
        size_t room = CAPACITY - source->end;
        ssize_t got = fetch(source, source->buffer + source->end, room < CHUNK ? room : CHUNK);
        if (got <= 0) {
            source->at_end = true;
            return;
        }
        source->end += (size_t)got;
    }
}

/* Where nothing waits in the buffer: a look at what was read ahead, without copying it. */
static bool lend(spw_source *source, size_t want, const char **data, size_t *got) {
    if (source->ahead == NULL || source->at_end || source->start < source->end)
        return false;
    ssize_t rest = spw_ahead_look(source->ahead, data, source->damage);
    source->at_end = rest <= 0;
    source->lent = rest > 0 && (size_t)rest >= want;
    *got = source->lent ? (size_t)rest : 0;
    return source->lent;
}

spw_status spw_source_look(spw_source *source, size_t want, const char **data, size_t *got,
                           spw_error *error) {
    if (want > SPW_SOURCE_LOOK_MAX)
        return spw_error_set(error, SPW_ERR_ARGUMENT, "a look-ahead of %zu bytes is too far", want);
    if (source->memory != NULL) {
        size_t rest = source->end - source->start;
        size_t most = source->step == 0 || want > source->step ? want : source->step;
        *data = source->memory + source->start;
        *got = source->step != 0 && rest > most ? most : rest;
        return SPW_OK;
    }
    source->lent = false;
    if (lend(source, want, data, got))
        return SPW_OK;
    fill(source, want);
    *data = source->buffer + source->start;
    *got = source->end - source->start;
    return SPW_OK;
}

void spw_source_take(spw_source *source, size_t n) {
    if (source->lent)
        spw_ahead_take(source->ahead, n);
    else
        source->start += n;
    source->position += n;
}

uint64_t spw_source_position(const spw_source *source) {
    return source->position;
}

const char *spw_source_damage(const spw_source *source) {
    return source->damage[0] != '\0' ? source->damage : NULL;
}

const char *spw_source_compression(const spw_source *source) {
    return source->compression;
}

uint64_t spw_source_size(const spw_source *source) {
    return source->compression == NULL ? source->input.total : 0;
}

static spw_status unpack(spw_source *source, spw_error *error) {
    source->compression = spw_unpack_recognises(source->input.head, source->input.head_length);
    if (source->compression == NULL)
        return SPW_OK;
    spw_status status =
        spw_unpacker_new(&source->input, source->compression, &source->unpacker, error);
    if (status != SPW_OK)
        return status;
    source->may_read_ahead = source->input.total > 0;
    fill(source, SPW_INPUT_HEAD);
    if (source->end == 0)
        return spw_error_set(error, SPW_ERR_FORMAT, "%s",
                             source->damage[0] != '\0' ? source->damage
                                                       : "nothing could be unpacked");
    return SPW_OK;
}

/* Archives are refused compressed or not. */
static spw_status refuse_archives(spw_source *source, spw_error *error) {
    const char *why = source->compression == NULL
                          ? spw_unpack_refuses(source->input.head, source->input.head_length)
                          : spw_unpack_refuses(source->buffer, source->end);
    return why == NULL ? SPW_OK : spw_error_set(error, SPW_ERR_UNSUPPORTED, "%s", why);
}

spw_status spw_source_open(const char *path, const spw_read_options *options, spw_source **source,
                           spw_error *error) {
    spw_source *made = calloc(1, sizeof *made);
    if (made == NULL)
        return spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    made->input.fd = -1;
    spw_status status = SPW_ERR_MEMORY;
    made->buffer = malloc(CAPACITY);
    if (made->buffer == NULL)
        spw_error_set(error, status, "out of memory");
    else
        status = spw_input_open(&made->input, path, options, error);
    if (status == SPW_OK)
        status = unpack(made, error);
    if (status == SPW_OK)
        status = refuse_archives(made, error);
    if (status != SPW_OK)
        spw_source_free(made);
    else
        *source = made;
    return status;
}

spw_status spw_source_memory(const char *bytes, size_t length, spw_source **source) {
    spw_source *made = calloc(1, sizeof *made);
    if (made == NULL)
        return SPW_ERR_MEMORY;
    made->input.fd = -1;
    made->memory = bytes != NULL ? bytes : "";
    made->end = length;
    made->at_end = true;
    *source = made;
    return SPW_OK;
}

void spw_source_step(spw_source *source, size_t step) {
    source->step = step;
}

void spw_source_bound(spw_source *source, uint64_t most) {
    if (source->unpacker != NULL)
        spw_unpacker_bound(source->unpacker, most);
}

void spw_source_free(spw_source *source) {
    if (source == NULL)
        return;
    spw_ahead_free(source->ahead);
    spw_unpacker_free(source->unpacker);
    spw_input_close(&source->input);
    free(source->buffer);
    free(source);
}
