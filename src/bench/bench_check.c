/* What two or more keys together must hold. */
#include "bench/keys.h"

#include <math.h>

static bool both(double a, double b) {
    return !isnan(a) && !isnan(b);
}

static spw_status check_servo(const spw_servo *servo, spw_error *error) {
    if (!(servo->expected_low_us >= 1 && servo->expected_low_us < servo->expected_high_us &&
          servo->expected_high_us <= 1e5))
        return spw_error_set(error, SPW_ERR_FORMAT,
                             "expected_low_us (%.7g) must be below expected_high_us (%.7g), both "
                             "from 1 to 100000",
                             servo->expected_low_us, servo->expected_high_us);
    if (!(servo->tolerance_us > 0 && isfinite(servo->tolerance_us)))
        return spw_error_set(error, SPW_ERR_FORMAT, "tolerance_us must be above 0");
    if (isnan(servo->stop_low_us) != isnan(servo->stop_high_us) ||
        servo->stop_low_us > servo->stop_high_us)
        return spw_error_set(error, SPW_ERR_FORMAT,
                             "stop_low_us and stop_high_us come together, the lower one first");
    return SPW_OK;
}

static spw_status check_asked(const spw_controller *asked, spw_error *error) {
    if ((both(asked->asked_low_us, asked->asked_high_us) &&
         asked->asked_low_us >= asked->asked_high_us) ||
        (both(asked->asked_low_us, asked->asked_neutral_us) &&
         asked->asked_low_us >= asked->asked_neutral_us) ||
        (both(asked->asked_neutral_us, asked->asked_high_us) &&
         asked->asked_neutral_us >= asked->asked_high_us))
        return spw_error_set(
            error, SPW_ERR_FORMAT,
            "asked_low_us, asked_neutral_us and asked_high_us must rise in that order");
    return SPW_OK;
}

static spw_status check_joint(const spw_bench *bench, spw_error *error) {
    const spw_joint_facts *joint = &bench->joint;
    if (both(joint->allowed_low_deg, joint->allowed_high_deg) &&
        joint->allowed_low_deg >= joint->allowed_high_deg)
        return spw_error_set(error, SPW_ERR_FORMAT,
                             "allowed_low_deg (%.7g) must be below allowed_high_deg (%.7g)",
                             joint->allowed_low_deg, joint->allowed_high_deg);
    /* Without the servo's angle a limit of the joint cannot be kept, and an
     * adapter must never open travel that the joint forbids. */
    bool limited = !isnan(joint->allowed_low_deg) || !isnan(joint->allowed_high_deg);
    if (limited && isnan(bench->servo.travel_deg))
        return spw_error_set(error, SPW_ERR_FORMAT,
                             "allowed_low_deg and allowed_high_deg need travel_deg in [servo]: "
                             "without it no angle can be told from a pulse");
    if (limited && !(bench->servo.neutral_us > bench->servo.expected_low_us &&
                     bench->servo.neutral_us < bench->servo.expected_high_us))
        return spw_error_set(error, SPW_ERR_FORMAT,
                             "allowed angles count from neutral, but neutral_us (%.7g) is not "
                             "between expected_low_us and expected_high_us",
                             bench->servo.neutral_us);
    if (!(joint->reduction > 0))
        return spw_error_set(error, SPW_ERR_FORMAT, "reduction must be above 0");
    return SPW_OK;
}

spw_status spw_bench_check(const spw_bench *bench, spw_error *error) {
    spw_status status = check_servo(&bench->servo, error);
    if (status == SPW_OK)
        status = check_asked(&bench->controller, error);
    if (status == SPW_OK)
        status = check_joint(bench, error);
    if (status != SPW_OK)
        return status;
    const spw_adapter_facts *adapter = &bench->adapter;
    if (!(adapter->tick_us >= SPW_TICK_US_MIN && adapter->tick_us <= SPW_TICK_US_MAX) ||
        (adapter->word_bits != 16 && adapter->word_bits != 32 && adapter->word_bits != 64))
        return spw_error_set(error, SPW_ERR_FORMAT,
                             "tick_us goes from %.7g to %.7g and word_bits is 16, 32 or 64",
                             SPW_TICK_US_MIN, SPW_TICK_US_MAX);
    double room = bench->servo.expected_high_us - bench->servo.expected_low_us;
    if (!(adapter->margin_us >= 0 && 2 * adapter->margin_us < room))
        return spw_error_set(error, SPW_ERR_FORMAT,
                             "margin_us (%.7g) must leave room between the expected ends: less "
                             "than %.7g",
                             adapter->margin_us, room / 2);
    return SPW_OK;
}
