/* Every NAME.csv here is refused with the words in NAME.expected. */
#include "support/table_case.h"
#include "support/test.h"

#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *content_of(const char *path, size_t *length) {
    FILE *file = fopen(path, "rb");
    char *content = malloc(65536);
    if (file == NULL || content == NULL)
        fail_msg("cannot read %s", path);
    *length = fread(content, 1, 65535, file);
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
    case SPW_ERR_EMPTY:
        return "empty";
    default:
        return "other";
    }
}

static void check(const char *path) {
    size_t length, expected_length;
    char said[1024], where[32] = "", expected_path[512];
    char *text = content_of(path, &length);
    table_case got = table_case_read(text, length, NULL, 0);
    if (got.error.line != SPW_NOWHERE)
        snprintf(where, sizeof where, "line %llu: ", (unsigned long long)got.error.line);
    snprintf(said, sizeof said, "%s: %s%s\n", word_of(got.status), where, got.error.message);
    snprintf(expected_path, sizeof expected_path, "%.*s.expected", (int)(strlen(path) - 4), path);
    char *expected = content_of(expected_path, &expected_length);
    if (strcmp(said, expected) != 0)
        fail_msg("%s\n said     %s expected %s", path, said, expected);
    free(expected);
    free(text);
    table_case_free(&got);
}

static void refused_with_these_words(void **state) {
    (void)state;
    glob_t found;
    assert_int_equal(glob("tests/refused/table/*.csv", 0, NULL, &found), 0);
    assert_true(found.gl_pathc >= 16);
    for (size_t i = 0; i < found.gl_pathc; i++)
        check(found.gl_pathv[i]);
    globfree(&found);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(refused_with_these_words)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
