/* The readers, as users call them: a file with options. What is read from it has to be what
 * is read from a pipe in small pieces, or from memory with the shortest look-ahead.
 *
 * Four bytes choose, then comes the file:
 *   0  bit 0 a rate is given, bits 1-2 the unit of time, bits 3-5 the pieces, bit 6 a pipe
 *      (else memory), bit 7 end the reading early as well
 *   1  which rate
 *   2  after how many calls the reading is ended
 *   3  nothing yet */
#include "capture/source/unpack.h"
#include "fuzz/reading.h"
#include "fuzz/shared.h"
#include "fuzz/targets.h"

#define RECOGNISE_BYTES ((size_t)1 << 16)

typedef struct choice {
    spw_read_options options;
    unsigned piece;
    bool pipe;
    uint64_t stop_after;
} choice;

static choice choose(fuzz_input *input) {
    static const double rates[8] = {1e6, 1, 44100, 24e6, 4e9, 1e-3, 1e300, 3.0};
    uint8_t bits = fuzz_byte(input), rate = fuzz_byte(input), stop = fuzz_byte(input);
    (void)fuzz_byte(input);
    return (choice){.options = {.has_rate = (bits & 1) != 0,
                                .rate_hz = rates[rate % 8],
                                .time_unit = (spw_time_unit)(bits >> 1 & 3)},
                    .piece = bits >> 3 & 7,
                    .pipe = (bits & 0x40) != 0,
                    .stop_after = (bits & 0x80) != 0 ? 1u + stop : 0};
}

/* The format the content is recognised as. */
static spw_format format_of(const char *head, size_t length) {
    bool whole = length < RECOGNISE_BYTES;
    size_t n = whole ? length : RECOGNISE_BYTES;
    if (spw_audio_recognises(head, n, whole))
        return SPW_FORMAT_AUDIO;
    if (spw_vcd_recognises(head, n, whole))
        return SPW_FORMAT_VCD;
    return spw_table_recognises(head, n, whole) ? SPW_FORMAT_TABLE : SPW_FORMAT_RAW;
}

static void compare(const choice *c, const fuzz_input *file, const fuzz_reading *first) {
    static const size_t pieces[8] = {0, 4, 8, 16, 64, 256, 512, 1},
                        steps[8] = {0, 1, 2, 3, 7, 16, 61, 256};
    fuzz_reading second;
    if (c->pipe) {
        if (!fuzz_stdin(file->at, file->left, pieces[c->piece]))
            return;
        fuzz_read_path("-", &c->options, 0, &second);
        fuzz_stdin_end();
    } else {
        fuzz_read_memory(file->at, file->left, steps[c->piece], &c->options, &second);
    }
    fuzz_promise(fuzz_same_content(first, &second), "a pipe and a file are read alike");
    fuzz_promise(fuzz_same_words(first, &second), "the same is said of a pipe and of a file");
    fuzz_reading_free(&second);
}

static void end_early(const choice *c, const char *path) {
    fuzz_reading part;
    if (c->stop_after == 0)
        return;
    fuzz_read_path(path, &c->options, c->stop_after, &part);
    fuzz_reading_free(&part);
}

static void check(const choice *c, const fuzz_input *file, spw_format format) {
    const char *path = fuzz_file(0, file->at, file->left);
    fuzz_reading reading;
    fuzz_read_path(path, &c->options, 0, &reading);
    if (reading.status == SPW_OK)
        fuzz_promise(reading.summary.format == format, "the reader is the recognised one");
    compare(c, file, &reading);
    end_early(c, path);
    fuzz_reading_free(&reading);
}

static bool is_packed(const fuzz_input *file) {
    const char *head = (const char *)file->at;
    size_t n = file->left < SPW_INPUT_HEAD ? file->left : SPW_INPUT_HEAD;
    return spw_unpack_recognises(head, n) != NULL || spw_unpack_refuses(head, n) != NULL;
}

/* Content of other formats is left to the other targets. */
static void read_as(const uint8_t *data, size_t size, spw_format format) {
    fuzz_input file = {data, size};
    choice c = choose(&file);
    if (format == SPW_FORMAT_RAW)
        c.options.has_rate = true;
    if (file.left > 0 && !is_packed(&file) && format_of((const char *)file.at, file.left) == format)
        check(&c, &file, format);
}

void fuzz_vcd(const uint8_t *data, size_t size) {
    read_as(data, size, SPW_FORMAT_VCD);
}

void fuzz_table(const uint8_t *data, size_t size) {
    read_as(data, size, SPW_FORMAT_TABLE);
}

void fuzz_raw(const uint8_t *data, size_t size) {
    read_as(data, size, SPW_FORMAT_RAW);
}

void fuzz_audio(const uint8_t *data, size_t size) {
    read_as(data, size, SPW_FORMAT_AUDIO);
}

/* Anything at all; memory knows nothing of compression. */
void fuzz_recognise(const uint8_t *data, size_t size) {
    fuzz_input file = {data, size};
    choice c = choose(&file);
    if (is_packed(&file) || file.left == 0) {
        fuzz_reading reading;
        fuzz_read_path(fuzz_file(0, file.at, file.left), &c.options, 0, &reading);
        fuzz_reading_free(&reading);
        return;
    }
    check(&c, &file, format_of((const char *)file.at, file.left));
}
