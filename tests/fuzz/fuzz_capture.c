/* Any bytes through the recogniser and the reader it picks, into a sink that
 * aborts when a promise of spanwright/capture.h is broken.
 *
 * The first byte chooses: bit 0 a rate is given, bits 1-2 the time unit, bits
 * 3-5 the least look-ahead (0: all at once), so that a reader meets the border
 * of what it looked at everywhere. Build and run, from the top folder:
 *   clang -g -O1 -std=c17 -D_GNU_SOURCE -fsanitize=fuzzer,address,undefined \
 *     -Iinclude -Isrc -Itests -o build/fuzz_capture tests/fuzz/fuzz_capture.c \
 *     tests/support/kept.c src/capture/[a-z]*.c src/base/[a-z]*.c \
 *     $(pkg-config --cflags --libs sndfile libarchive nettle) -lm
 *   build/fuzz_capture -max_len=4096 -timeout=10 FOLDER_OF_SEEDS */
#include "capture/reader.h"
#include "support/kept.h"

#include <stdlib.h>

#define BREACH(condition)                                                                          \
    do {                                                                                           \
        if (condition)                                                                             \
            abort();                                                                               \
    } while (0)

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void check_error(const spw_error *error, spw_status status) {
    BREACH(error->status != status);
    BREACH(error->message[0] == '\0');
    char safe[sizeof error->message * 4];
    size_t length = 0;
    while (error->message[length] != '\0')
        length++;
    spw_text_safe(safe, sizeof safe, error->message, length);
    for (size_t i = 0; i <= length; i++)
        BREACH(safe[i] != error->message[i]);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    static const size_t steps[8] = {0, 1, 2, 3, 7, 16, 61, 256};
    if (size < 1)
        return 0;
    spw_read_options options = {.has_rate = (data[0] & 1) != 0,
                                .rate_hz = 1e6,
                                .time_unit = (spw_time_unit)(data[0] >> 1 & 3)};
    spw_source *source = NULL;
    if (spw_source_memory((const char *)data + 1, size - 1, &source) != SPW_OK)
        return 0;
    spw_source_step(source, steps[data[0] >> 3 & 7]);
    kept got = {0};
    spw_sink sink = kept_sink(&got);
    spw_capture_summary summary = {0};
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_capture_read_source(source, &options, &sink, &summary, &error);
    if (status == SPW_OK)
        kept_check_summary(&got, &summary);
    else
        check_error(&error, status);
    spw_capture_summary_free(&summary);
    kept_free(&got);
    spw_source_free(source);
    return 0;
}
