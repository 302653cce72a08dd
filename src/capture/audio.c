#include "capture/reader.h"

bool spw_audio_recognises(const char *head, size_t length, bool whole) {
    (void)head;
    (void)length;
    (void)whole;
    return false;
}
spw_status spw_audio_read(spw_source *source, const spw_read_options *options, spw_emitter *emitter,
                          spw_capture_summary *summary, spw_error *error) {
    (void)source;
    (void)options;
    (void)emitter;
    (void)summary;
    return spw_error_set(error, SPW_ERR_UNSUPPORTED, "sound files are not read yet");
}
