/* Words that tables use: units, names of a time column, levels, calendar times. */
#include "capture/table/parts.h"

#include <string.h>

static char lower(char c) {
    return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

static bool same(const char *text, size_t length, const char *word) {
    size_t i = 0;
    for (; i < length && word[i] != '\0'; i++)
        if (lower(text[i]) != word[i])
            return false;
    return i == length && word[i] == '\0';
}

static bool one_of(const char *text, size_t length, const char *const *words, size_t n) {
    for (size_t i = 0; i < n; i++)
        if (same(text, length, words[i]))
            return true;
    return false;
}
#define ONE_OF(text, length, words) one_of(text, length, words, sizeof(words) / sizeof *(words))

spw_table_class spw_table_word(const char *text, size_t length) {
    static const char *const low[] = {"l", "low", "false", "off"};
    static const char *const high[] = {"h", "high", "true", "on"};
    static const char *const unknown[] = {"x",    "z",        "u",   "-",    "--",   "---", "?",
                                          "nan",  "-nan",     "inf", "-inf", "+inf", "na",  "n/a",
                                          "#n/a", "infinity", "nil", "null", "none"};
    if (ONE_OF(text, length, low))
        return SPW_CELL_LOW;
    if (ONE_OF(text, length, high))
        return SPW_CELL_HIGH;
    return ONE_OF(text, length, unknown) ? SPW_CELL_UNKNOWN : SPW_CELL_TEXT;
}

/* Where the unit of a header cell starts and ends: in brackets at its end, or
 * behind a slash; with `loose`, the last word too, or the whole cell. */
static bool unit_part(const char *text, size_t length, bool loose, size_t *name_length,
                      const char **unit, size_t *unit_length) {
    if (length >= 2 && (text[length - 1] == ')' || text[length - 1] == ']')) {
        char open = text[length - 1] == ')' ? '(' : '[';
        size_t at = length - 1;
        while (at > 0 && text[at - 1] != open)
            at--;
        if (at == 0)
            return false;
        *unit = text + at;
        *unit_length = length - 1 - at;
        *name_length = at - 1;
    } else {
        size_t at = length;
        while (at > 0 && text[at - 1] != '/' &&
               !(loose && memchr(" _-.,:", text[at - 1], 6) != NULL))
            at--;
        *unit = text + at;
        *unit_length = length - at;
        *name_length = at > 0 ? at - 1 : 0;
    }
    while (*unit_length > 0 && **unit == ' ')
        ++*unit, --*unit_length;
    while (*unit_length > 0 && (*unit)[*unit_length - 1] == ' ')
        --*unit_length;
    while (*name_length > 0 && text[*name_length - 1] == ' ')
        --*name_length;
    return *unit_length > 0;
}

/* The micro sign, Greek mu, or the micro sign of ISO 8859-1, then the rest. */
static bool micro(const char *text, size_t length, const char *rest) {
    static const char *const sign[] = {"\xc2\xb5", "\xce\xbc", "\xb5"};
    for (size_t i = 0; i < 3; i++) {
        size_t n = strlen(sign[i]);
        if (length >= n && memcmp(text, sign[i], n) == 0)
            return same(text + n, length - n, rest);
    }
    return false;
}

/* "length 400", "timebase=5": what stands behind is the unit of that number. */
static bool ends_in_number(const char *text, size_t length) {
    size_t at = length;
    while (at > 0 && memchr("0123456789.+-eE", text[at - 1], 15) != NULL)
        at--;
    bool digit = false;
    for (size_t i = at; i < length; i++)
        digit = digit || (text[i] >= '0' && text[i] <= '9');
    return digit && (at == 0 || memchr(" =:\t", text[at - 1], 4) != NULL);
}

bool spw_table_time_unit(const char *text, size_t length, size_t *name_length, int *exponent) {
    static const char *const s[] = {"s", "sec", "secs", "second", "seconds"};
    static const char *const ms[] = {"ms", "msec", "millisecond", "milliseconds", "millis"};
    static const char *const us[] = {"us", "usec", "microsecond", "microseconds", "micros"};
    static const char *const ns[] = {"ns", "nsec", "nanosecond", "nanoseconds", "nanos"};
    static const char *const ps[] = {"ps", "picosecond", "picoseconds"};
    static const char *const fs[] = {"fs", "femtosecond", "femtoseconds"};
    const char *unit;
    size_t n;
    if (!unit_part(text, length, true, name_length, &unit, &n) ||
        ends_in_number(text, *name_length))
        return false;
    if (ONE_OF(unit, n, s))
        *exponent = 0;
    else if (ONE_OF(unit, n, ms))
        *exponent = -3;
    else if (ONE_OF(unit, n, us) || micro(unit, n, "s") || micro(unit, n, "sec"))
        *exponent = -6;
    else if (ONE_OF(unit, n, ns))
        *exponent = -9;
    else if (ONE_OF(unit, n, ps))
        *exponent = -12;
    else if (ONE_OF(unit, n, fs))
        *exponent = -15;
    else
        return false;
    return true;
}

bool spw_table_volt_unit(const char *text, size_t length, size_t *name_length, double *factor) {
    static const char *const v[] = {"v", "volt", "volts"};
    static const char *const mv[] = {"mv", "millivolt", "millivolts"};
    static const char *const uv[] = {"uv", "microvolt", "microvolts"};
    const char *unit;
    size_t n;
    if (!unit_part(text, length, false, name_length, &unit, &n))
        return false;
    if (ONE_OF(unit, n, v))
        *factor = 1.0;
    else if (ONE_OF(unit, n, mv))
        *factor = 1e-3;
    else if (ONE_OF(unit, n, uv) || micro(unit, n, "v"))
        *factor = 1e-6;
    else
        return false;
    return true;
}

bool spw_table_names_time(const char *text, size_t length) {
    static const char *const names[] = {
        "time",  "t",    "timestamp", "time stamp", "times",    "zeit",      "temps",    "tiempo",
        "tempo", "tijd", "x-axis",    "elapsed",    "datetime", "date time", "date/time"};
    size_t name_length = length;
    int exponent;
    if (length == 0 || ONE_OF(text, length, names))
        return length > 0;
    if (spw_table_time_unit(text, length, &name_length, &exponent))
        return name_length == 0 || ONE_OF(text, name_length, names) ||
               same(text + (name_length > 4 ? name_length - 4 : 0), name_length > 4 ? 4 : 0,
                    "time") ||
               (name_length > 4 && same(text, 4, "time"));
    /* "Capture time", "Time (UTC)", "time of day" */
    if (length > 5 && same(text + length - 4, 4, "time") &&
        memchr(" _-.", text[length - 5], 4) != NULL)
        return true;
    return length > 5 && same(text, 4, "time") && memchr(" _-.([/", text[4], 7) != NULL;
}

bool spw_table_names_count(const char *text, size_t length) {
    static const char *const names[] = {
        "index",  "sample", "samples",      "row",           "n",
        "no",     "no.",    "nr",           "nr.",           "#",
        "i",      "count",  "point",        "points",        "line",
        "number", "idx",    "sample index", "sample number", "sequence"};
    return ONE_OF(text, length, names);
}

/* Days since 1970-01-01 of a Gregorian date; the years are counted from March,
 * so that the leap day ends one and 153 days are every five months. */
static int64_t days_since_1970(int64_t year, unsigned month, unsigned day) {
    year -= month <= 2;
    int64_t era = (year >= 0 ? year : year - 399) / 400;
    unsigned year_of_era = (unsigned)(year - era * 400);
    unsigned day_of_year = (153 * (month > 2 ? month - 3 : month + 9) + 2) / 5 + day - 1;
    unsigned day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    return era * 146097 + (int64_t)day_of_era - 719468;
}

/* `least` to `most` digits at *at; false and nothing moved otherwise. */
static bool digits(const char **at, const char *end, size_t least, size_t most, unsigned *value) {
    const char *p = *at;
    unsigned v = 0;
    size_t n = 0;
    for (; p < end && n < most && *p >= '0' && *p <= '9'; p++, n++)
        v = v * 10 + (unsigned)(*p - '0');
    if (n < least)
        return false;
    *at = p;
    *value = v;
    return true;
}

static bool take(const char **at, const char *end, char c) {
    if (*at >= end || **at != c)
        return false;
    ++*at;
    return true;
}

static bool date(const char **at, const char *end, int64_t *days) {
    const char *p = *at;
    unsigned year, month, day;
    if (!digits(&p, end, 4, 4, &year) || p >= end || (*p != '-' && *p != '/'))
        return false;
    char between = *p++;
    if (!digits(&p, end, 1, 2, &month) || !take(&p, end, between) || !digits(&p, end, 1, 2, &day) ||
        month < 1 || month > 12 || day < 1 || day > 31)
        return false;
    *at = p;
    *days = days_since_1970(year, month, day);
    return true;
}

/* Z, +hh:mm, +hhmm or nothing: the seconds it is ahead. */
static bool zone(const char **at, const char *end, int64_t *ahead) {
    *ahead = 0;
    if (*at < end && (**at == 'Z' || **at == 'z')) {
        ++*at;
    } else if (*at < end && (**at == '+' || **at == '-')) {
        bool west = *(*at)++ == '-';
        unsigned hours, minutes = 0;
        if (!digits(at, end, 2, 2, &hours))
            return false;
        bool colon = take(at, end, ':');
        if (!digits(at, end, 2, 2, &minutes) && colon)
            return false;
        *ahead = (int64_t)(hours * 3600 + minutes * 60) * (west ? -1 : 1);
    }
    return *at == end;
}

spw_table_class spw_table_calendar(const char *text, size_t length, char mark, spw_decimal *number,
                                   bool *time_of_day) {
    const char *at = text, *end = text + length;
    int64_t days = 0, ahead;
    bool dated = date(&at, end, &days);
    if (dated && at == end)
        return SPW_CELL_DATE;
    if (dated && !take(&at, end, 'T') && !take(&at, end, 't') && !take(&at, end, ' '))
        return SPW_CELL_TEXT;
    while (at < end && *at == ' ')
        at++;
    unsigned hour, minute, second;
    if (!digits(&at, end, 1, 2, &hour) || !take(&at, end, ':') ||
        !digits(&at, end, 2, 2, &minute) || !take(&at, end, ':') ||
        !digits(&at, end, 2, 2, &second) || hour > 24 || minute > 59 || second > 60)
        return SPW_CELL_TEXT;
    const char *fraction = at;
    size_t places = 0;
    if (take(&at, end, '.') || take(&at, end, mark)) {
        fraction = at;
        while (at < end && *at >= '0' && *at <= '9')
            at++;
        places = (size_t)(at - fraction);
    }
    if (!zone(&at, end, &ahead))
        return SPW_CELL_TEXT;
    int64_t whole = days * 86400 + hour * 3600 + minute * 60 + second - ahead;
    if (whole < 0) /* before 1970: nobody records that */
        return SPW_CELL_TEXT;
    spw_decimal found = {.digits = (uint64_t)whole};
    for (size_t i = 0; i < places; i++) {
        unsigned digit = (unsigned)(fraction[i] - '0');
        if (found.digits > (UINT64_MAX - digit) / 10 / 10) {
            found.inexact = found.inexact || digit != 0;
            continue;
        }
        found.digits = found.digits * 10 + digit;
        found.exponent--;
    }
    *number = found;
    *time_of_day = !dated;
    return SPW_CELL_CLOCK;
}
