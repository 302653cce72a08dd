#include "capture/emit.h"

spw_status spw_emit_flush(spw_emitter *emitter) {
    size_t n = emitter->n;
    if (n == 0)
        return SPW_OK;
    emitter->n = 0;
    return emitter->sink->changes(emitter->sink->context, emitter->batch, n);
}
