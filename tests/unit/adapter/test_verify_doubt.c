/* What recordings in doubt leave of a verification. */
#include "adapter/verify/doubt.h"
#include "support/hand_channel.h"

#include <string.h>

static spw_verification verified(void) {
    spw_verification v = {.gain = 2, .planned = {.known = true, .tolerance_us = 10}};
    v.planned.remap.gain = 2;
    static const spw_check check[] = {
        {"line", 3, 10, 1, true, "within"},       {"residual", 14, 4, 0, true, "bent"},
        {"clamp_low", 510, 510, 1, true, "kept"}, {"clamp_high", 2501, 2490, 0, true, "open"},
        {"latency", 1.5, 20, 1, false, "latest"}, {"smoothing", 1, 9, 1, false, "none"},
        {"pairing", 0, 0, 1, true, "all"},        {"jitter", 2, 3, 1, false, "plain"}};
    v.checks = sizeof check / sizeof check[0];
    (void)memcpy(v.check, check, sizeof check);
    return v;
}

static void assert_passes(const spw_verification *v, const int *pass) {
    for (size_t i = 0; i < v->checks; i++)
        if (v->check[i].pass != pass[i])
            fail_msg("%s: %d, not %d", v->check[i].name, v->check[i].pass, pass[i]);
}

static spw_channel recorded(spw_doubt *doubt) {
    return (spw_channel){.doubt = doubt, .doubts = doubt != NULL ? 1 : 0};
}

static void test_without_doubt(void **state) {
    (void)state;
    spw_verification v = verified();
    spw_channel sound = recorded(NULL);
    spw_verify_doubt(&v, &sound, &sound);
    assert_passes(&v, (int[]){1, 0, 1, 0, 1, 1, 1, 1});
}

/* No width can be told; delays and pairs can. */
static void test_unknown_bound(void **state) {
    (void)state;
    spw_doubt clips = {SPW_DOUBT_CLIPPING, 0, 7, NAN};
    spw_channel sound = recorded(NULL), doubted = recorded(&clips);
    for (int side = 0; side < 2; side++) {
        spw_verification v = verified();
        spw_verify_doubt(&v, side == 0 ? &doubted : &sound, side == 0 ? &sound : &doubted);
        assert_passes(&v, (int[]){-1, -1, -1, -1, 1, -1, 1, -1});
        assert_non_null(strstr(v.check[0].why, "Lower the recording level by 6 dB"));
        assert_non_null(strstr(v.check[0].why, side == 0 ? "before" : "behind"));
        assert_string_equal(v.check[4].why, "latest");
    }
}

/* 3 us of the output, or of the input times the gain of 2. */
static void test_known_bound(void **state) {
    (void)state;
    spw_doubt law = {SPW_DOUBT_LOSSY, 0, 7, 3};
    spw_channel sound = recorded(NULL), doubted = recorded(&law);
    spw_verification v = verified();
    spw_verify_doubt(&v, &sound, &doubted);
    assert_passes(&v, (int[]){1, 0, 1, 0, 1, 1, 1, 1});
    v = verified();
    v.check[0].value = 8; /* 8 + 3 is over 10 */
    v.check[1].value = 6; /* 6 - 3 is not over 4 */
    v.check[3].value = 2492;
    spw_verify_doubt(&v, &sound, &doubted);
    assert_passes(&v, (int[]){-1, -1, 1, -1, 1, 1, 1, 1});
    v = verified();
    v.check[0].value = 5; /* 5 + 2 * 3 is over 10 */
    spw_verify_doubt(&v, &doubted, &sound);
    assert_passes(&v, (int[]){-1, 0, 1, 0, 1, 1, 1, 1});
}

int main(void) {
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_without_doubt),
                                       cmocka_unit_test(test_unknown_bound),
                                       cmocka_unit_test(test_known_bound)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
