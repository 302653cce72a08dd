/* Level changes on their way to a sink, in batches: no call and no allocation
 * a change. */
#ifndef SPW_EMIT_H
#define SPW_EMIT_H

#include "spanwright/capture.h"

#define SPW_EMIT_BATCH 2048

typedef struct spw_emitter {
    const spw_sink *sink;
    size_t n;
    spw_change batch[SPW_EMIT_BATCH];
} spw_emitter;

/* Sends what waits. */
spw_status spw_emit_flush(spw_emitter *emitter) SPW_CHECKED;

/* Adds one change; times must not fall. */
static inline spw_status spw_emit_change(spw_emitter *emitter, double time_s, uint32_t channel,
                                         spw_level level) {
    emitter->batch[emitter->n++] =
        (spw_change){.time_s = time_s, .channel = channel, .level = (uint32_t)level};
    return emitter->n == SPW_EMIT_BATCH ? spw_emit_flush(emitter) : SPW_OK;
}

#endif
