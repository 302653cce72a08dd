#include "support/refused.h"

#include "support/test.h"

#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { ROOM = 65536 };

static char *content_of(const char *path, size_t *length) {
    FILE *file = fopen(path, "rb");
    char *content = malloc(ROOM);
    if (file == NULL || content == NULL)
        fail_msg("cannot read %s", path);
    *length = fread(content, 1, ROOM - 1, file);
    content[*length] = '\0';
    fclose(file);
    return content;
}

static const char *word_of(spw_status status) {
    switch (status) {
    case SPW_OK:
        return "read";
    case SPW_ERR_FORMAT:
        return "format";
    case SPW_ERR_UNSUPPORTED:
        return "unsupported";
    case SPW_ERR_EMPTY:
        return "empty";
    default:
        return "other";
    }
}

static void check(const char *path, refused_read *read) {
    size_t length;
    char said[1024], where[32] = "", beside[512];
    spw_error error;
    spw_error_clear(&error);
    char *bytes = content_of(path, &length);
    spw_status status = read(bytes, length, &error);
    if (error.line != SPW_NOWHERE)
        snprintf(where, sizeof where, "line %llu: ", (unsigned long long)error.line);
    snprintf(said, sizeof said, "%s: %s%s\n", word_of(status), where, error.message);
    snprintf(beside, sizeof beside, "%.*s.expected", (int)(strrchr(path, '.') - path), path);
    char *expected = content_of(beside, &length);
    if (strcmp(said, expected) != 0 || error.status != status)
        fail_msg("%s\n said     %s expected %s", path, said, expected);
    free(expected);
    free(bytes);
}

void refused_check(const char *pattern, size_t least, refused_read *read) {
    glob_t found;
    assert_int_equal(glob(pattern, 0, NULL, &found), 0);
    assert_true(found.gl_pathc >= least);
    for (size_t i = 0; i < found.gl_pathc; i++)
        check(found.gl_pathv[i], read);
    globfree(&found);
}
