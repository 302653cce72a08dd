/* Every NAME.vcd here is refused with the words in NAME.expected. */
#include "support/test.h"
#include "support/vcd_case.h"

#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *content_of(const char *path, size_t *length) {
    FILE *file = fopen(path, "rb");
    char *content = malloc(4096);
    if (file == NULL || content == NULL)
        fail_msg("cannot read %s", path);
    *length = fread(content, 1, 4095, file);
    content[*length] = '\0';
    fclose(file);
    return content;
}

static const char *word_of(spw_status status) {
    switch (status) {
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

static void check(const char *path) {
    size_t length;
    char *text = content_of(path, &length), said[1024], where[32] = "";
    vcd_case got = vcd_case_read(text, length, NULL);
    if (got.error.line != SPW_NOWHERE)
        snprintf(where, sizeof where, "line %llu: ", (unsigned long long)got.error.line);
    snprintf(said, sizeof said, "%s: %s%s\n", word_of(got.status), where, got.error.message);
    char *expected_path = strdup(path);
    memcpy(strrchr(expected_path, '.'), "", 1);
    char full[512];
    snprintf(full, sizeof full, "%s.expected", expected_path);
    free(text);
    text = content_of(full, &length);
    print_message("%s\n", path);
    assert_string_equal(said, text);
    assert_int_equal(got.error.status, got.status);
    free(expected_path);
    free(text);
    vcd_case_free(&got);
}

static void refused_with_these_words(void **state) {
    (void)state;
    glob_t found;
    assert_int_equal(glob("tests/refused/vcd/*.vcd", 0, NULL, &found), 0);
    assert_true(found.gl_pathc >= 12);
    for (size_t i = 0; i < found.gl_pathc; i++)
        check(found.gl_pathv[i]);
    globfree(&found);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(refused_with_these_words)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
