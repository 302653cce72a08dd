#include "capture/reader.h"

spw_status spw_raw_read(spw_source *source, const spw_read_options *options, spw_emitter *emitter,
                        spw_capture_summary *summary, spw_error *error) {
    (void)source;
    (void)options;
    (void)emitter;
    (void)summary;
    return spw_error_set(error, SPW_ERR_UNSUPPORTED, "raw dumps are not read yet");
}
