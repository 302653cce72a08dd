#include "report/json/file.h"

#include "base/plain.h"
#include "base/reason.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static spw_status read_whole(const char *path, const char *noun, unsigned most_mib,
                             spw_text *content, spw_error *error) {
    char why[128], part[4096];
    FILE *file = fopen(path, "rb");
    if (file == NULL)
        return spw_error_set(error, SPW_ERR_IO, "cannot open: %s",
                             spw_reason(errno, why, sizeof why));
    size_t most = (size_t)most_mib << 20, got;
    while (content->length <= most && (got = fread(part, 1, sizeof part, file)) > 0)
        spw_text_append(content, part, got);
    bool failed = ferror(file) != 0;
    int reason = errno;
    (void)fclose(file);
    spw_status status = spw_text_status(content);
    if (status != SPW_OK)
        return spw_error_set(error, status, "out of memory");
    if (failed)
        return spw_error_set(error, SPW_ERR_IO, "cannot read: %s",
                             spw_reason(reason, why, sizeof why));
    if (content->length > most)
        return spw_error_set(error, SPW_ERR_LIMIT, "more than %u MiB is no %s", most_mib, noun);
    return SPW_OK;
}

/* jansson 2.14 reads past its input when an allocation of its lexer fails, or tells it as
 * wrong syntax: it is not asked to read where its memory could run out. Values take 16
 * times their text, unless they are nothing but brackets. Volatile: an allocation that is
 * only freed may be left out by a compiler. */
#define JSON_TO_TEXT 16
static bool has_memory(const spw_text *content) {
    void *volatile room = malloc(content->length * JSON_TO_TEXT + 1);
    free(room);
    return room != NULL;
}

spw_status spw_json_file(const char *path, const char *maker, const char *noun, unsigned most_mib,
                         json_t **root, spw_error *error) {
    spw_text content = {0};
    json_error_t at;
    json_t *read = NULL;
    spw_plain plain;
    spw_status status = read_whole(path, noun, most_mib, &content, error);
    if (status == SPW_OK && (!has_memory(&content) || !spw_plain_begin(&plain)))
        status = spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    if (status == SPW_OK) {
        read = json_loadb(content.data != NULL ? content.data : "", content.length, 0, &at);
        spw_plain_end(&plain);
        if (read == NULL &&
            (at.text[0] == '\0' || json_error_code(&at) == json_error_out_of_memory))
            status = spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
        else if (read == NULL)
            status = spw_error_at(error, SPW_ERR_FORMAT, at.line > 0 ? (uint64_t)at.line : 1,
                                  SPW_NOWHERE,
                                  "this is no JSON: give the file that spanwright %s --json -o "
                                  "FILE wrote",
                                  maker);
    }
    spw_text_free(&content);
    if (status == SPW_OK)
        *root = read;
    return status;
}
