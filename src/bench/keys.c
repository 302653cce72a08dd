/* Every section and key of a bench file with its range, default and meaning,
 * and how a value is stored. */
#include "bench/keys.h"
#include "base/plain.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define AT(member) offsetof(spw_bench, member), sizeof(((spw_bench *)NULL)->member)
#define NUMBER(section, name, member, low, high, standard, meaning)                                \
    { section, name, SPW_KEY_NUMBER, AT(member), low, high, standard, NULL, meaning }
#define TEXT(section, name, member, meaning)                                                       \
    { section, name, SPW_KEY_TEXT, AT(member), 0, 0, 0, NULL, meaning }
#define YES_NO(section, name, member, meaning)                                                     \
    { section, name, SPW_KEY_YES_NO, AT(member), 0, 0, 0, "no|yes", meaning }
#define CHOICE(section, name, member, words, meaning)                                              \
    { section, name, SPW_KEY_CHOICE, AT(member), 0, 0, 0, words, meaning }
#define BITS(section, name, member, words, standard, meaning)                                      \
    { section, name, SPW_KEY_BITS, AT(member), 0, 0, standard, words, meaning }

/* No hobby pulse is longer than a tenth of a second: more is a wrong unit. */
#define WIDTH_MAX_US 1e5

const spw_key spw_bench_key[] = {
    TEXT("servo", "name", servo.name, "what the servo is called on the sheet"),
    NUMBER("servo", "expected_low_us", servo.expected_low_us, 1, WIDTH_MAX_US, 500,
           "shortest pulse the servo is made for, microseconds"),
    NUMBER("servo", "expected_high_us", servo.expected_high_us, 1, WIDTH_MAX_US, 2500,
           "longest pulse the servo is made for, microseconds"),
    NUMBER("servo", "tolerance_us", servo.tolerance_us, 0.001, 1e4, 10,
           "miss at either end that does not matter, microseconds"),
    NUMBER("servo", "dead_band_us", servo.dead_band_us, 0, 1e4, NAN,
           "change of pulse the servo ignores, whole width, microseconds"),
    CHOICE("servo", "mode", servo.mode, "positional|continuous",
           "positional: goes to an angle; continuous: turns at a speed"),
    NUMBER("servo", "travel_deg", servo.travel_deg, 0.1, 1e5, NAN,
           "angle from the shortest to the longest expected pulse, degrees"),
    NUMBER("servo", "neutral_us", servo.neutral_us, 1, WIDTH_MAX_US, 1500,
           "pulse for the neutral position, microseconds"),
    NUMBER("servo", "fastest_frame_hz", servo.fastest_frame_hz, 1, 1e4, NAN,
           "highest frame rate the servo bears, frames a second"),
    NUMBER("servo", "stop_low_us", servo.stop_low_us, 1, WIDTH_MAX_US, NAN,
           "continuous: shortest pulse at which it stands still, microseconds"),
    NUMBER("servo", "stop_high_us", servo.stop_high_us, 1, WIDTH_MAX_US, NAN,
           "continuous: longest pulse at which it stands still, microseconds"),
    NUMBER("servo", "rpm_per_us", servo.rpm_per_us, 0, 1e3, NAN,
           "continuous: turns a minute for each microsecond off the stop band"),
    TEXT("controller", "name", controller.name, "what sends the pulses"),
    TEXT("controller", "channel", controller.channel, "the channel of the capture to judge"),
    NUMBER("controller", "asked_low_us", controller.asked_low_us, 1, WIDTH_MAX_US, NAN,
           "low end the controller was told to send, microseconds"),
    NUMBER("controller", "asked_neutral_us", controller.asked_neutral_us, 1, WIDTH_MAX_US, NAN,
           "neutral it was told to send, microseconds"),
    NUMBER("controller", "asked_high_us", controller.asked_high_us, 1, WIDTH_MAX_US, NAN,
           "high end it was told to send, microseconds"),
    NUMBER("controller", "asked_frame_us", controller.asked_frame_us, 100, 1e6, NAN,
           "frame period it was told to keep, microseconds"),
    YES_NO("controller", "adjustable", controller.adjustable,
           "yes: its end points, neutral and frame can be set"),
    NUMBER("recorder", "timebase_ppm", recorder.timebase_ppm, 0, 1e5, NAN,
           "standard uncertainty of the recorder's clock, parts in a million"),
    NUMBER("adapter", "tick_us", adapter.tick_us, SPW_TICK_US_MIN, SPW_TICK_US_MAX, 1,
           "timer tick, microseconds"),
    BITS("adapter", "word_bits", adapter.word_bits, "16|32|64", 32,
         "widest product the adapter can compute, bits"),
    CHOICE("adapter", "neutral", adapter.neutral, "straight|bent",
           "straight: one line; bent: two lines that meet at neutral"),
    NUMBER("adapter", "margin_us", adapter.margin_us, 0, 1e4, 0,
           "how far the output stays inside each end, microseconds"),
    YES_NO("adapter", "reverse", adapter.reverse, "yes: travel is reversed"),
    NUMBER("adapter", "gap_us", adapter.gap_us, 0, WIDTH_MAX_US, 300,
           "least pause between two pulses, microseconds"),
    NUMBER("adapter", "clock_ppm", adapter.clock_ppm, 0, 1e5, 0,
           "standard uncertainty of the adapter's clock, parts in a million"),
    NUMBER("joint", "reduction", joint.reduction, 1e-3, 1e4, 1,
           "turns of the servo for one turn of the joint"),
    NUMBER("joint", "needed_deg", joint.needed_deg, 0.01, 1e5, NAN,
           "travel the joint has to make, degrees"),
    NUMBER("joint", "allowed_low_deg", joint.allowed_low_deg, -1e5, 1e5, NAN,
           "lowest angle allowed, degrees of the joint from its neutral position"),
    NUMBER("joint", "allowed_high_deg", joint.allowed_high_deg, -1e5, 1e5, NAN,
           "highest angle allowed, degrees of the joint from its neutral position"),
    TEXT("inspection", "event", inspection.event, "where the robot is inspected"),
    TEXT("inspection", "robot", inspection.robot, "the robot"),
    TEXT("inspection", "port", inspection.port, "the port the servo is plugged into"),
    TEXT("inspection", "inspector", inspection.inspector, "who inspects"),
    TEXT("inspection", "date", inspection.date, "when"),
};
const size_t spw_bench_keys = sizeof spw_bench_key / sizeof spw_bench_key[0];

const char *spw_key_word(const char *words, size_t index, size_t *length) {
    while (index-- > 0) {
        const char *bar = strchr(words, '|');
        if (bar == NULL) {
            *length = 0;
            return words;
        }
        words = bar + 1;
    }
    *length = strcspn(words, "|");
    return words;
}

/* Index of `value` among the words, or -1. */
static int word_index(const char *words, const char *value) {
    for (size_t i = 0;; i++) {
        size_t length;
        const char *word = spw_key_word(words, i, &length);
        if (length == 0)
            return -1;
        if (strlen(value) == length && memcmp(word, value, length) == 0)
            return (int)i;
    }
}

static void store_index(const spw_key *key, unsigned index, spw_bench *bench) {
    char *at = (char *)bench + key->offset;
    if (key->kind == SPW_KEY_YES_NO) {
        bool value = index != 0;
        memcpy(at, &value, sizeof value);
        return;
    }
    _Static_assert(sizeof(spw_servo_mode) == sizeof index, "choices are stored as unsigned");
    _Static_assert(sizeof(spw_remap_kind) == sizeof index, "choices are stored as unsigned");
    memcpy(at, &index, sizeof index);
}

static int print(char *out, size_t size, const char *format, ...) SPW_PRINTF(3, 4);
static int print(char *out, size_t size, const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    int length = spw_plain_print(out, size, format, arguments);
    va_end(arguments);
    return length;
}

static spw_status store_number(const spw_key *key, const char *value, spw_bench *bench,
                               char expected[128]) {
    double number;
    if (spw_parse_number(value, &number) != SPW_OK || number < key->low || number > key->high) {
        (void)print(expected, 128, "a plain number from %.7g to %.7g", key->low, key->high);
        return SPW_ERR_FORMAT;
    }
    memcpy((char *)bench + key->offset, &number, sizeof number);
    return SPW_OK;
}

static spw_status store_word(const spw_key *key, const char *value, spw_bench *bench,
                             char expected[128]) {
    int index = word_index(key->words, value);
    if (index < 0) {
        (void)snprintf(expected, 128, "one of %s", key->words);
        return SPW_ERR_FORMAT;
    }
    double number = index;
    if (key->kind == SPW_KEY_BITS && spw_parse_number(value, &number) != SPW_OK)
        return SPW_ERR_FORMAT;
    store_index(key, (unsigned)number, bench);
    return SPW_OK;
}

spw_status spw_key_store(const spw_key *key, const char *value, spw_bench *bench,
                         char expected[128]) {
    if (key->kind == SPW_KEY_NUMBER)
        return store_number(key, value, bench, expected);
    if (key->kind != SPW_KEY_TEXT)
        return store_word(key, value, bench, expected);
    size_t length = strlen(value);
    if (length >= key->size) {
        (void)snprintf(expected, 128, "at most %zu bytes", key->size - 1);
        return SPW_ERR_FORMAT;
    }
    memcpy((char *)bench + key->offset, value, length + 1);
    return SPW_OK;
}

void spw_key_standard(const spw_key *key, spw_bench *bench) {
    if (key->kind == SPW_KEY_NUMBER)
        memcpy((char *)bench + key->offset, &key->standard, sizeof key->standard);
    else if (key->kind == SPW_KEY_TEXT)
        memset((char *)bench + key->offset, 0, key->size);
    else
        store_index(key, (unsigned)key->standard, bench);
}

void spw_key_standard_text(const spw_key *key, char out[64]) {
    out[0] = '\0';
    if (key->kind == SPW_KEY_TEXT || isnan(key->standard))
        return;
    if (key->kind == SPW_KEY_NUMBER || key->kind == SPW_KEY_BITS) {
        /* Every default is a whole number: no decimal mark, whatever the locale. */
        (void)snprintf(out, 64, "%.0f", key->standard);
        return;
    }
    size_t length;
    const char *word = spw_key_word(key->words, (size_t)key->standard, &length);
    memcpy(out, word, length);
    out[length] = '\0';
}
