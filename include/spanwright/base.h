/* spanwright: status, errors, text that is safe to show, growable text, files
 * written whole or not at all, digests.
 *
 * Conventions of every public header:
 *   - names end in their unit: _s seconds, _us microseconds, _hz, _deg, _ppm;
 *   - a figure that cannot be known is NAN inside and null in JSON;
 *   - calls that can fail return spw_status; results go through pointers and
 *     change only on SPW_OK unless the call says otherwise;
 *   - an spw_error is the caller's; NULL is allowed wherever one is taken;
 *   - spw_x_free accepts NULL; "borrowed" pointers belong to somebody else;
 *   - the library never prints, never exits and keeps no writable globals.
 */
#ifndef SPANWRIGHT_BASE_H
#define SPANWRIGHT_BASE_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif
#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

#define SPW_VERSION "0.1.0"

#if defined(__GNUC__)
#define SPW_CHECKED __attribute__((warn_unused_result))
#define SPW_PRINTF(format_at, first_at) __attribute__((format(printf, format_at, first_at)))
#else
#define SPW_CHECKED
#define SPW_PRINTF(format_at, first_at)
#endif

typedef enum spw_status {
    SPW_OK = 0,
    SPW_ERR_MEMORY,      /* an allocation failed */
    SPW_ERR_IO,          /* the system refused: open, read, write, rename */
    SPW_ERR_FORMAT,      /* the content is not what it should be */
    SPW_ERR_ARGUMENT,    /* the call or an option is wrong */
    SPW_ERR_EMPTY,       /* too little data for an answer */
    SPW_ERR_LIMIT,       /* a named limit was passed */
    SPW_ERR_UNSUPPORTED, /* recognised, but not a thing this library reads */
    SPW_ERR_NUMERIC      /* a computation did not converge */
} spw_status;

/* A short English name of a status; never NULL; static storage. */
const char *spw_status_text(spw_status status);

/* What went wrong, for a person. `file` and `message` are already safe to
 * show (see spw_text_safe). `line` counts from 1, `byte` is an offset from 0
 * in the (decompressed) content; SPW_NOWHERE where it does not apply. */
#define SPW_NOWHERE UINT64_MAX
typedef struct spw_error {
    spw_status status;
    char file[256];
    uint64_t line;
    uint64_t byte;
    char message[768]; /* one sentence: what is wrong, what to do */
} spw_error;

/* Clears *error (NULL allowed). */
void spw_error_clear(spw_error *error);
/* Fills *error (NULL allowed) and returns `status`, so that a failing call
 * reads: return spw_error_set(error, SPW_ERR_FORMAT, "...", ...); */
spw_status spw_error_set(spw_error *error, spw_status status, const char *format, ...)
    SPW_PRINTF(3, 4);
/* As above with a place: line and byte, either SPW_NOWHERE. */
spw_status spw_error_at(spw_error *error, spw_status status, uint64_t line, uint64_t byte,
                        const char *format, ...) SPW_PRINTF(5, 6);
/* Notes the file an error is about (made safe), where none is noted yet. */
void spw_error_file(spw_error *error, const char *path);

/* Text safe for a terminal, a log or a message: valid UTF-8 without control
 * characters (C0, C1, DEL), without bidirectional controls and without
 * invisible format characters; each offending byte becomes \xNN.
 *   out, out_size  caller's buffer, always NUL-terminated when out_size > 0;
 *                  text that does not fit is cut at a character and ends in "..."
 *   in, length     any bytes
 * Returns out. */
char *spw_text_safe(char *out, size_t out_size, const char *in, size_t length);

/* Growable text. Starts zeroed: spw_text t = {0}. After a failed append the
 * text keeps what it had and `failed` stays set; check it once at the end. */
typedef struct spw_text {
    char *data; /* NUL-terminated when not NULL */
    size_t length;
    size_t capacity;
    bool failed;
} spw_text;
void spw_text_append(spw_text *text, const char *bytes, size_t length);
void spw_text_puts(spw_text *text, const char *string);
/* printf into the text. Decimal points are '.' under every locale. */
void spw_text_printf(spw_text *text, const char *format, ...) SPW_PRINTF(2, 3);
void spw_text_vprintf(spw_text *text, const char *format, va_list arguments) SPW_PRINTF(2, 0);
/* Appends with &<>"' escaped and control or bidirectional characters replaced. */
void spw_text_html(spw_text *text, const char *bytes, size_t length);
/* Appends one RFC 4180 cell: quoted where needed; a cell that a spreadsheet
 * would take for a formula (= + - @, also as wide letters or behind blanks; tab, CR or
 * LF first) gets a leading apostrophe. */
void spw_text_csv_cell(spw_text *text, const char *bytes, size_t length);
/* Appends one word as a POSIX shell takes it, quoted where needed: '...', or $'...' with
 * \xNN for bytes that are not to be shown. */
void spw_text_shell_word(spw_text *text, const char *word);
/* SPW_OK, or SPW_ERR_MEMORY when any append failed. */
spw_status spw_text_status(const spw_text *text) SPW_CHECKED;
void spw_text_free(spw_text *text);

/* A file written whole or not at all: bytes go to a file without a name in the
 * target's folder (where the system has none, to one called ".spanwright-" and 16
 * hex digits), which is flushed and put in the target's place by
 * spw_output_commit. Discarding, never committing or being killed leaves the old
 * content. A symbolic link stays, the file it leads to is replaced. */
typedef struct spw_output spw_output;
/*   path   target; an existing one is refused unless `force` (SPW_ERR_ARGUMENT)
 * SPW_ERR_IO with the system's reason when the folder cannot be written. */
spw_status spw_output_open(const char *path, bool force, spw_output **output,
                           spw_error *error) SPW_CHECKED;
spw_status spw_output_write(spw_output *output, const char *bytes, size_t length,
                            spw_error *error) SPW_CHECKED;
/* Flushes to the disk what was written: after it, a full disk can no longer make
 * spw_output_commit fail. Called by it where it was not before. */
spw_status spw_output_settle(spw_output *output, spw_error *error) SPW_CHECKED;
/* Flushes, puts in place and frees; on failure (without `force` also a target that
 * has come to be since: SPW_ERR_ARGUMENT) the temporary file is removed, the old
 * content is intact, and `output` is freed all the same. */
spw_status spw_output_commit(spw_output *output, spw_error *error) SPW_CHECKED;
/* Drops what was written and frees. NULL allowed. */
void spw_output_discard(spw_output *output);

/* SHA-256 (FIPS 180-4, computed by nettle) of all bytes of a file or, for "-",
 * not possible (SPW_ERR_ARGUMENT).
 *   hex   out, 64 hex digits and a NUL */
spw_status spw_digest_file(const char *path, char hex[65], spw_error *error) SPW_CHECKED;

/* A decimal number as a person writes it: sign, digits with '.', exponent;
 * nothing before or after; finite. Independent of the locale.
 * SPW_ERR_FORMAT otherwise. */
spw_status spw_parse_number(const char *string, double *value) SPW_CHECKED;

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif
#ifdef __cplusplus
}
#endif
#endif
