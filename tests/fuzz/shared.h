/* What the fuzz targets share: bytes as a file and as a pipe, the promises that are
 * checked of everything that is read or written. A breach ends the program with a sentence. */
#ifndef SPW_FUZZ_SHARED_H
#define SPW_FUZZ_SHARED_H

#include "spanwright/spanwright.h"

/* Ends the program unless `kept`. */
void fuzz_promise(bool kept, const char *what);

/* The input, taken from its front: the first bytes choose options. */
typedef struct fuzz_input {
    const uint8_t *at;
    size_t left;
} fuzz_input;
/* 0 when nothing is left. */
uint8_t fuzz_byte(fuzz_input *input);

/* The bytes as a file that has a path, without touching a disk. One for each slot
 * (0 .. 3); a path is valid for ever, its content until the slot's next call. */
const char *fuzz_file(unsigned slot, const void *bytes, size_t length);
/* The bytes on standard input, to be read `piece` at a time (a power of 2 up to 512,
 * or 0: as much as is wanted). false: more than a pipe holds; nothing was done. */
bool fuzz_stdin(const void *bytes, size_t length, size_t piece);
void fuzz_stdin_end(void);

/* A refusal says something, and nothing that must not be shown. */
void fuzz_error_said(const spw_error *error, spw_status status);
/* Valid UTF-8, no control character but line feeds, nothing invisible. */
void fuzz_shown(const char *bytes, size_t length);
/* From here on, are all names ours? Then no text that is shown has a number that is none. */
void fuzz_names_are_ours(bool ours);
/* As fuzz_shown, and JSON that parses. */
void fuzz_json(const char *bytes, size_t length);
/* A page: as fuzz_shown, every element closed, no script, no attribute that runs one. */
void fuzz_page(const char *bytes, size_t length);
/* Equal to 1 part in 1e9 or both unknown. */
bool fuzz_alike(double a, double b);

#endif
