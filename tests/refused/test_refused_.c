/* Every NAME. here is refused with the words in NAME.expected. */
#include "support/refused.h"
#include "support/_case.h"
#include "support/test.h"

static spw_status read_it(const char *bytes, size_t length, spw_error *error) {
    _case got = ;
    spw_status status = got.status;
    *error = got.error;
    _case_free(&got);
    return status;
}

static void refused_with_these_words(void **state) {
    (void)state;
    refused_check("tests/refused//*.", , read_it);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(refused_with_these_words)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
