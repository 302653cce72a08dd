/* Most lines of a dump are "#1500", "1!" or "b10 !": these are read here, in
 * one tight loop over the whole lines of the window. Anything else, and the
 * last line when it lacks its end, is left to vcd_changes.c, a statement at a
 * time, with the same meaning.
 *
 * Every quick_ function takes a statement at p and returns the white byte
 * behind it, or NULL when it is not for it. Within whole lines a white byte
 * always comes, so that none of them looks for the end. */
#include "base/digits.h"
#include "capture/vcd/vcd.h"

static inline size_t word_length(const char *p) {
    size_t n = 0;
    while (!spw_vcd_white(p[n]))
        n++;
    return n;
}

/* "1!" */
static inline const char *quick_scalar(spw_vcd *vcd, const char *p) {
    uint32_t number;
    size_t n = 1;
    if (spw_vcd_white(p[1]))
        return NULL;
    if (spw_vcd_white(p[2])) {
        number = spw_vcd_codes_find(&vcd->codes, p + 1, 1);
    } else {
        n = word_length(p + 1);
        number = spw_vcd_codes_find(&vcd->codes, p + 1, n);
    }
    if (number == SPW_VCD_NONE)
        return NULL;
    spw_vcd_variable *variable = &vcd->variables[number];
    uint8_t level = (uint8_t)(spw_vcd_digit[(unsigned char)*p] - 1);
    if (variable->width > 1) {
        spw_vcd_set(vcd, number, p, 1);
    } else if (variable->now != level && variable->width == 1) {
        spw_vcd_touch(vcd, number);
        variable->now = level;
    }
    return p + 1 + n;
}

/* "b10zx !" */
static inline const char *quick_vector(spw_vcd *vcd, const char *p) {
    const char *digits = p + 1, *end = digits;
    while (spw_vcd_digit[(unsigned char)*end] != 0)
        end++;
    if (end == digits || *end != ' ')
        return NULL;
    size_t n = word_length(end + 1);
    uint32_t number = spw_vcd_codes_find(&vcd->codes, end + 1, n);
    if (number == SPW_VCD_NONE || (size_t)(end - digits) > vcd->variables[number].width)
        return NULL;
    spw_vcd_set(vcd, number, digits, (size_t)(end - digits));
    return end + 1 + n;
}

/* As spw_vcd_step_end, where one scalar was touched, which is a channel. */
static inline spw_status quick_step_end(spw_vcd *vcd, const char *p) {
    spw_vcd_variable *variable = vcd->variables + (vcd->n_touched == 1 ? vcd->touched[0] : 0);
    if (vcd->n_touched != 1 || variable->tag >= SPW_VCD_CHANNELS_MAX || !variable->live) {
        vcd->text.at = (size_t)(p - vcd->text.data); /* for what may have to be said */
        return vcd->n_touched == 0 ? SPW_OK : spw_vcd_step_end(vcd);
    }
    vcd->n_touched = 0;
    variable->touched = false;
    if (variable->now == variable->was)
        return SPW_OK;
    variable->was = variable->now;
    return spw_vcd_send(vcd, vcd->time - vcd->first, variable->tag, variable->now);
}

/* "#1500" */
static inline const char *quick_time(spw_vcd *vcd, const char *p, const char *stop,
                                     spw_status *status) {
    const char *digits = p + 1, *at = digits;
    uint64_t time = 0;
    if (stop - digits > 8) {
        uint64_t eight = spw_eight_load(digits);
        if (spw_eight_others(eight) == 0) {
            time = spw_eight_value(eight);
            at += 8;
        }
    }
    for (unsigned digit; (digit = (unsigned)(unsigned char)*at - '0') < 10; at++)
        time = time * 10 + digit;
    /* 19 digits are below 2^64 */
    if ((size_t)(at - digits) - 1 >= 19 || !spw_vcd_white(*at) || time < vcd->time)
        return NULL;
    vcd->section = NULL;
    if (time == vcd->time)
        return at;
    *status = quick_step_end(vcd, p);
    vcd->time = time;
    return *status == SPW_OK ? at : NULL;
}

/* ---- "#1500\n1!\n", one after the other ---- */

#define DIGITS_MAX 16 /* of the times that are read here */

/* Times of the same number of digits that begin alike: their last eight are
 * read, the ones before are compared. */
typedef struct alike {
    size_t digits;
    uint64_t head, mask; /* what stands before the last eight, and where */
    uint64_t value;      /* that it adds to the last eight */
    size_t tail;         /* where the last eight begin */
    unsigned shift;      /* less than eight: bits that are missing, */
    uint64_t zeros;      /* and '0's in their place */
} alike;

static alike alike_to(const char *digits, size_t n, uint64_t time) {
    alike times = {.digits = n, .value = time - time % 100000000};
    if (n > 8) {
        times.tail = n - 8;
        times.mask = n == DIGITS_MAX ? UINT64_MAX : (UINT64_C(1) << 8 * (n - 8)) - 1;
        times.head = spw_eight_load(digits) & times.mask;
    } else if (n < 8) {
        times.shift = 8 * (unsigned)(8 - n);
        times.zeros = SPW_EIGHT('0') >> (64 - times.shift);
    }
    return times;
}

/* The time at `digits`, which has to end its line. */
static inline bool time_alike(const alike *times, const char *digits, uint64_t *time) {
    uint64_t head = spw_eight_load(digits);
    uint64_t tail = spw_eight_load(digits + times->tail) << times->shift | times->zeros;
    if ((((head ^ times->head) & times->mask) | spw_eight_others(tail)) != 0 ||
        digits[times->digits] != '\n')
        return false;
    *time = times->value + spw_eight_value(tail);
    return true;
}

/* The same for any other time; *times is made like it. */
static bool time_unlike(alike *times, const char *digits, uint64_t *time) {
    size_t n = 0;
    uint64_t value = 0;
    for (; n <= DIGITS_MAX && digits[n] >= '0' && digits[n] <= '9'; n++)
        value = value * 10 + (uint64_t)(digits[n] - '0');
    if (n == 0 || n > DIGITS_MAX || digits[n] != '\n')
        return false;
    *times = alike_to(digits, n, value);
    *time = value;
    return true;
}

#define CLOCK_PAIRS 8 /* an even number: the level is the same behind them */

/* A clock: pairs that follow each other fast enough to be counted only, of
 * the scalar that the pair before p set, and of times as long as its time.
 * CLOCK_PAIRS at a time: when times rise, also to the mark behind them, and
 * all of it takes less than the clock may take for one change, there is
 * nothing more to see. */
static const char *quick_clock(spw_vcd *vcd, const char *p, const char *stop, const alike *times,
                               const spw_vcd_variable *variable, uint64_t *lines) {
    spw_vcd_passing *passing = &vcd->passing[variable->tag];
    const size_t length = 1 + times->digits + 4, tail_at = 1 + times->tail;
    uint64_t before = __builtin_bswap64(spw_eight_load(p - length + tail_at));
    /* "\n1!\n#", and one to turn its level */
    const uint64_t five = (UINT64_C(1) << 40) - 1, turn = 1 << 8;
    uint64_t ends = (spw_eight_load(p - 4) & five) ^ turn;
    while ((size_t)(stop - p) > (CLOCK_PAIRS + 1) * length + 8) {
        const char *at = p;
        uint64_t wrong = 0, tail = 0;
        for (int i = 0; i < CLOCK_PAIRS; i++, at += length, ends ^= turn) {
            tail = spw_eight_load(at + tail_at);
            uint64_t now = __builtin_bswap64(tail); /* rises as the times do */
            wrong |= (spw_eight_load(at + 1) ^ times->head) & times->mask;
            wrong |= (spw_eight_load(at + 1 + times->digits) & five) ^ ends;
            wrong |= spw_eight_others(tail) | (now <= before);
            before = now;
        }
        uint64_t next = spw_eight_load(at + tail_at);
        wrong |= (spw_eight_load(at + 1) ^ times->head) & times->mask;
        wrong |= spw_eight_others(next) | (__builtin_bswap64(next) <= before);
        wrong |= at[1 + times->digits] != '\n';
        uint64_t time = times->value + spw_eight_value(tail);
        if (wrong != 0 || time - vcd->first - passing->last >= passing->within)
            break;
        vcd->time = time;
        passing->last = time - vcd->first;
        passing->n += CLOCK_PAIRS;
        *lines += 2 * (uint64_t)CLOCK_PAIRS;
        p = at;
    }
    return p;
}

/* A channel's scalar that is read here; NULL for others. */
static inline spw_vcd_variable *quick_channel(const spw_vcd *vcd, char code, uint32_t *number) {
    *number = spw_vcd_codes_find(&vcd->codes, &code, 1);
    if (*number == SPW_VCD_NONE)
        return NULL;
    spw_vcd_variable *variable = &vcd->variables[*number];
    return variable->width == 1 && variable->live && variable->tag < SPW_VCD_CHANNELS_MAX ? variable
                                                                                          : NULL;
}

/* Reads pairs of lines, a time and the only value at it, from p on: most of a
 * dump of lines that seldom move together. What a pair sets is sent when a
 * later time is read: the mark behind it may be the same time again, or none.
 * Returns where the first one of another kind begins. */
static const char *quick_pairs(spw_vcd *vcd, const char *p, const char *stop, alike *times,
                               uint64_t *lines, spw_status *status) {
    const ptrdiff_t longest = 1 + DIGITS_MAX + 1 + 3 + 1;
    const spw_vcd_variable *same = NULL; /* that the pair before set, */
    unsigned pairs = 0;                  /* so often in a row */
    while (stop - p >= longest && *p == '#') {
        uint64_t time;
        bool similar = time_alike(times, p + 1, &time);
        if (!similar && !time_unlike(times, p + 1, &time))
            break;
        const char *value = p + 1 + times->digits + 1;
        if ((value[0] | 1) != '1' || value[2] != '\n' || value[3] != '#' || time <= vcd->time)
            break;
        uint32_t number;
        spw_vcd_variable *variable = quick_channel(vcd, value[1], &number);
        if (variable == NULL)
            break;
        if (vcd->n_touched > 0 && (*status = quick_step_end(vcd, p)) != SPW_OK)
            break;
        pairs = similar && variable == same ? pairs + 1 : 0;
        same = variable;
        if (pairs == CLOCK_PAIRS && times->digits >= 8 && vcd->passing[variable->tag].within > 0) {
            const char *from = p;
            pairs = 0;
            p = quick_clock(vcd, p, stop, times, variable, lines);
            if (p > from)
                continue;
        }
        uint8_t level = value[0] & 1;
        vcd->time = time;
        *lines += 2;
        p = value + 3;
        if (variable->was != level) {
            spw_vcd_touch(vcd, number);
            variable->now = level;
        }
    }
    return p;
}

/* Line ends are counted on the way: most lines are seen here. */
spw_status spw_vcd_quick(spw_vcd *vcd) {
    spw_vcd_text *text = &vcd->text;
    size_t start = text->at;
    const char *p = text->data + start, *stop = text->data + spw_vcd_text_lines_end(text);
    if (p >= stop)
        return SPW_OK;
    (void)spw_vcd_text_line(text, p);
    spw_status status = SPW_OK;
    uint64_t lines = 0;
    alike times = {.digits = 8};
    for (; p < stop; p++) {
        if (*p == '#') {
            const char *from = p;
            p = quick_pairs(vcd, p, stop, &times, &lines, &status);
            if (p > from)
                vcd->section = NULL;
            if (status != SPW_OK)
                break;
        }
        const char *end = p;
        if (*p == '#')
            end = quick_time(vcd, p, stop, &status);
        else if (spw_vcd_digit[(unsigned char)*p] != 0)
            end = quick_scalar(vcd, p);
        else if (*p == 'b')
            end = quick_vector(vcd, p);
        else if (!spw_vcd_white(*p))
            break;
        if (end == NULL)
            break;
        p = end;
        lines += *p == '\n';
    }
    text->at = (size_t)(p - text->data);
    if (text->mark == start) { /* else something was said, which counted again */
        text->mark = text->at;
        text->lines += lines;
    }
    return status;
}
