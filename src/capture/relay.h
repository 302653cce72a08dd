/* Samples on their way to a sink in another thread, where they are analysed
 * while the next ones are read and decoded. */
#ifndef SPW_RELAY_H
#define SPW_RELAY_H

#include "spanwright/capture.h"

typedef struct spw_relay spw_relay;

/* A relay to a sink, borrowed. Until many samples have come it calls the sink
 * itself; then the sink is a thread's, one call at a time and in order, until
 * spw_relay_end. NULL without memory. */
spw_relay *spw_relay_new(const spw_sink *to);
/* The sink that takes what is to be relayed; a status that the other sink
 * returned is returned by a later call. */
spw_sink spw_relay_sink(spw_relay *relay);
/* Nothing more comes: waits until all is handed on. Returns the status that
 * the other sink ended the reading with, or SPW_OK; frees the relay. */
spw_status spw_relay_end(spw_relay *relay) SPW_CHECKED;

#endif
