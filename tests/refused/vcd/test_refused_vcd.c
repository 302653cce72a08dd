/* Every NAME.vcd here is refused with the words in NAME.expected. */
#include "support/refused.h"
#include "support/test.h"
#include "support/vcd_case.h"

static spw_status read_it(const char *bytes, size_t length, spw_error *error) {
    vcd_case got = vcd_case_read(bytes, length, NULL);
    spw_status status = got.status;
    *error = got.error;
    vcd_case_free(&got);
    return status;
}

static void refused_with_these_words(void **state) {
    (void)state;
    refused_check("tests/refused/vcd/*.vcd", 12, read_it);
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(refused_with_these_words)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
