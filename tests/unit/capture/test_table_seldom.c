/* Times and units that few tables have. */
#include "support/table_case.h"
#include "support/test.h"

#include <string.h>

static void check(const char *table, const char *expected) {
    table_case read = table_case_read(table, strlen(table), NULL, 16);
    if (read.status != SPW_OK)
        fail_msg("%s\nfor\n%s", read.error.message, table);
    assert_string_equal(read.text.data, expected);
    table_case_free(&read);
}

static void refused(const char *table, const char *message) {
    table_case read = table_case_read(table, strlen(table), NULL, 16);
    assert_int_not_equal(read.status, SPW_OK);
    assert_string_equal(read.error.message, message);
    table_case_free(&read);
}

static void units(void **state) {
    (void)state;
    check("Time (ps),claw\n0,0\n1500,1\n21000,0\n", "claw 1e-12: 0=0 1.5e-09=1 2.1e-08=0");
    check("Time (fs),claw\n0,0\n1500,1\n21000,0\n", "claw 1e-15: 0=0 1.5e-12=1 2.1e-11=0");
    check("Time (ms),claw (uV)\n0,20\n1,3300\n2,3300\n3,10\n",
          "claw 1000Hz: 2e-05 0.0033 0.0033 1e-05");
}

/* ISO 8601: times of one day in two zones are instants of one clock. */
static void zones(void **state) {
    (void)state;
    check("Time,claw\n2026-05-02T10:00:00.0000Z,0\n2026-05-02T12:00:00.0015+02:00,1\n"
          "2026-05-02T05:30:00.0210-0430,0\n",
          "claw 0.0001: 0=0 0.0015=1 0.021=0");
    check("Date,Time,claw\n2026-05-02,10:00:00.0000,0\n2026-05-02,10:00:00.0015,1\n"
          "2026-05-02,10:00:00.0210,0\n",
          "claw 0.0001: 0=0 0.0015=1 0.021=0");
}

static void no_times(void **state) {
    (void)state;
    refused(
        "Time,claw\n2026-05-02T10:00:00+2,0\n2026-05-02T10:00:01+2,1\n"
        "2026-05-02T10:00:02+2,0\n",
        "the rows hold no numbers in columns; export the capture with one row of numbers a sample "
        "or a change");
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(units),
        cmocka_unit_test(zones),
        cmocka_unit_test(no_times),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
