/* Reads a bench file through inih.
 *
 * inih splits a line that is longer than its buffer (200 bytes as Debian builds
 * it) and goes on as if the rest were a line of its own, stops at a zero byte,
 * takes an indented line for the continuation of the value above, and tells the
 * handler no line number. So the file is read whole first (it is small), every
 * line is checked, and lines are handed over one by one, without their indent. */
#include "base/array.h"
#include "base/reason.h"
#include "bench/keys.h"

#include <errno.h>
#include <ini.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A bench file with every key and its comment has 6 KiB. */
#define BENCH_BYTES_MAX 65536
#define KEYS_MAX 64

typedef struct reading {
    const char *at, *end;
    uint64_t line; /* of the line handed over last */
    spw_bench *bench;
    spw_error *error;
    spw_status status;
    uint64_t key_line[KEYS_MAX]; /* where each key was; 0 not yet */
} reading;

/* The length of the line at `at`, and of it with its line end (LF, CR LF or CR). */
static size_t line_length(const char *at, const char *end, size_t *whole) {
    size_t n = 0, left = (size_t)(end - at);
    while (n < left && at[n] != '\n' && at[n] != '\r')
        n++;
    *whole = n;
    if (n < left)
        *whole += at[n] == '\r' && n + 1 < left && at[n + 1] == '\n' ? 2 : 1;
    return n;
}

/* A section line holds nothing else: inih would drop what follows unseen. */
static bool clean_section(const char *line, size_t length) {
    size_t i = 0;
    while (i < length && (line[i] == ' ' || line[i] == '\t'))
        i++;
    if (i == length || line[i] != '[')
        return true;
    const char *bracket = memchr(line + i, ']', length - i);
    if (bracket == NULL)
        return true; /* inih says so */
    for (const char *c = bracket + 1; c < line + length && *c != ';' && *c != '#'; c++)
        if (*c != ' ' && *c != '\t')
            return false;
    return true;
}

static spw_status check_line(const char *line, size_t length, uint64_t number, spw_error *error) {
    size_t most = ini_max_line > 8 ? (size_t)ini_max_line - 8 : 0;
    for (size_t i = 0; i < length; i++)
        if ((unsigned char)line[i] < ' ' && line[i] != '\t')
            return spw_error_at(error, SPW_ERR_FORMAT, number, SPW_NOWHERE,
                                "a control character (byte value %u) stands in the line; a bench "
                                "file is plain text (UTF-8)",
                                (unsigned)(unsigned char)line[i]);
    if (length > most)
        return spw_error_at(error, SPW_ERR_LIMIT, number, SPW_NOWHERE,
                            "the line has %zu bytes and at most %zu are read; shorten it", length,
                            most);
    if (!clean_section(line, length))
        return spw_error_at(error, SPW_ERR_FORMAT, number, SPW_NOWHERE,
                            "something follows the section's ']'; put it on a line of its own");
    return SPW_OK;
}

static spw_status check_lines(const char *data, size_t length, spw_error *error) {
    uint64_t number = 0;
    for (const char *at = data, *end = data + length; at < end;) {
        size_t whole, n = line_length(at, end, &whole);
        spw_status status = check_line(at, n, ++number, error);
        if (status != SPW_OK)
            return status;
        at += whole;
    }
    return SPW_OK;
}

/* inih's reader: the next line, without its indent. */
static char *next_line(char *out, int size, void *context) {
    reading *r = context;
    if (r->at >= r->end || size < 2)
        return NULL;
    size_t whole, n = line_length(r->at, r->end, &whole);
    const char *line = r->at;
    r->at += whole;
    r->line++;
    while (n > 0 && (*line == ' ' || *line == '\t')) {
        line++;
        n--;
    }
    if (n > (size_t)size - 2)
        n = (size_t)size - 2; /* check_line has refused such lines */
    memcpy(out, line, n);
    out[n] = '\n';
    out[n + 1] = '\0';
    return out;
}

static int refuse(reading *r, spw_status status, const char *message) {
    r->status = spw_error_at(r->error, status, r->line, SPW_NOWHERE, "%s", message);
    return 0;
}

/* Lists the sections, or the keys of one: "a, b, c". */
static void list(const char *section, spw_text *out) {
    const char *last = "";
    for (size_t i = 0; i < spw_bench_keys; i++) {
        const spw_key *key = &spw_bench_key[i];
        const char *word = section == NULL ? key->section : key->name;
        if ((section != NULL && strcmp(section, key->section) != 0) || strcmp(word, last) == 0)
            continue;
        spw_text_printf(out, "%s%s", last[0] == '\0' ? "" : ", ", word);
        last = word;
    }
}

static bool known_section(const char *section) {
    for (size_t i = 0; i < spw_bench_keys; i++)
        if (strcmp(spw_bench_key[i].section, section) == 0)
            return true;
    return false;
}

static int unknown(reading *r, const char *section, const char *name) {
    char safe[128];
    spw_text text = {0};
    if (section[0] == '\0') {
        spw_text_printf(&text, "the key \"%s\" stands before any [section]; the sections are ",
                        spw_text_safe(safe, sizeof safe, name, strlen(name)));
        list(NULL, &text);
    } else if (!known_section(section)) {
        spw_text_printf(&text, "there is no section [%s]; the sections are ",
                        spw_text_safe(safe, sizeof safe, section, strlen(section)));
        list(NULL, &text);
    } else {
        spw_text_printf(&text, "[%s] has no key \"%s\"; its keys are ", section,
                        spw_text_safe(safe, sizeof safe, name, strlen(name)));
        list(section, &text);
    }
    bool failed = spw_text_status(&text) != SPW_OK;
    refuse(r, failed ? SPW_ERR_MEMORY : SPW_ERR_FORMAT, failed ? "out of memory" : text.data);
    spw_text_free(&text);
    return 0;
}

static int store(reading *r, size_t index, const char *value) {
    const spw_key *key = &spw_bench_key[index];
    char message[512], safe[128], expected[128] = "";
    if (r->key_line[index] != 0) {
        (void)snprintf(message, sizeof message, "%s was given in line %llu already; keep one",
                       key->name, (unsigned long long)r->key_line[index]);
        return refuse(r, SPW_ERR_FORMAT, message);
    }
    r->key_line[index] = r->line;
    if (value[0] == '\0' && key->kind != SPW_KEY_TEXT) {
        (void)snprintf(message, sizeof message,
                       "%s has no value; give one, or put ';' before the key", key->name);
        return refuse(r, SPW_ERR_FORMAT, message);
    }
    if (spw_key_store(key, value, r->bench, expected) == SPW_OK)
        return 1;
    (void)snprintf(message, sizeof message, "%s is \"%s\" but should be %s%s", key->name,
                   spw_text_safe(safe, sizeof safe, value, strlen(value)), expected,
                   strchr(value, '#') != NULL ? "; a comment behind a value starts with ' ;'" : "");
    return refuse(r, SPW_ERR_FORMAT, message);
}

/* inih's handler: 0 is an error, of which the first is kept. */
static int take(void *context, const char *section, const char *name, const char *value) {
    reading *r = context;
    if (r->status != SPW_OK)
        return 1;
    for (size_t i = 0; i < spw_bench_keys; i++)
        if (strcmp(spw_bench_key[i].section, section) == 0 &&
            strcmp(spw_bench_key[i].name, name) == 0)
            return store(r, i, value);
    return unknown(r, section, name);
}

static spw_status parse(const char *data, size_t length, spw_bench *bench, spw_error *error) {
    reading r = {.at = data, .end = data + length, .bench = bench, .error = error};
    if (spw_bench_keys > KEYS_MAX)
        return spw_error_set(error, SPW_ERR_LIMIT, "the table of keys outgrew KEYS_MAX");
    spw_status status = check_lines(data, length, error);
    if (status != SPW_OK)
        return status;
    int line = ini_parse_stream(next_line, &r, take, &r);
    if (line == -2)
        return spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    bool first_is_ours = r.status != SPW_OK && (error == NULL || error->line <= (uint64_t)line);
    if (line > 0 && !first_is_ours)
        return spw_error_at(error, SPW_ERR_FORMAT, (uint64_t)line, SPW_NOWHERE,
                            "the line is no [section], no key = value and no comment after ';'");
    return r.status;
}

/* Takes a whole file of at most BENCH_BYTES_MAX bytes. */
static spw_status slurp(FILE *file, char **data, size_t *length, spw_error *error) {
    char *bytes = malloc(BENCH_BYTES_MAX + 1);
    if (bytes == NULL)
        return spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    errno = 0;
    size_t n = fread(bytes, 1, BENCH_BYTES_MAX + 1, file);
    spw_status status = SPW_OK;
    char reason[128];
    if (ferror(file))
        status = spw_error_set(error, SPW_ERR_IO, "the bench file cannot be read: %s",
                               spw_reason(errno, reason, sizeof reason));
    else if (n > BENCH_BYTES_MAX)
        status = spw_error_set(error, SPW_ERR_LIMIT,
                               "the file has more than %d bytes; is this a bench file?",
                               BENCH_BYTES_MAX);
    if (status != SPW_OK) {
        free(bytes);
        return status;
    }
    *data = bytes;
    *length = n;
    return SPW_OK;
}

static spw_status read_open(FILE *file, spw_bench *bench, spw_error *error) {
    char *data = NULL;
    size_t length = 0;
    spw_bench found = spw_bench_defaults();
    spw_status status = slurp(file, &data, &length, error);
    if (status == SPW_OK)
        status = parse(data, length, &found, error);
    if (status == SPW_OK)
        status = spw_bench_check(&found, error);
    if (status == SPW_OK)
        *bench = found;
    free(data);
    return status;
}

spw_status spw_bench_read(const char *path, spw_bench *bench, spw_error *error) {
    spw_error_clear(error);
    char reason[128];
    FILE *file = fopen(path, "rb");
    spw_status status =
        file != NULL ? read_open(file, bench, error)
                     : spw_error_set(error, SPW_ERR_IO, "the bench file cannot be opened: %s",
                                     spw_reason(errno, reason, sizeof reason));
    if (file != NULL)
        (void)fclose(file);
    if (status != SPW_OK)
        spw_error_file(error, path);
    return status;
}
