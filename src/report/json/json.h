/* What the sheet reads back from files that other commands wrote as JSON. */
#ifndef SPW_REPORT_JSON_JSON_H
#define SPW_REPORT_JSON_JSON_H

#include "spanwright/report.h"

/* An earlier measurement of one channel. NAN: it did not say. */
typedef struct spw_earlier {
    bool known;
    char *file;    /* of the earlier capture; raw bytes; owned */
    char *channel; /* the same */
    double low_us, low_U95, high_us, high_U95, neutral_us, neutral_U95;
    double period_us, period_U95;
} spw_earlier;

/* Reads `measure --json`; takes the channel called `name`, or the only one with control pulses. */
spw_status spw_earlier_read(const char *path, const char *name, spw_earlier *earlier,
                            spw_error *error) SPW_CHECKED;
void spw_earlier_free(spw_earlier *earlier);

typedef struct spw_verified_check {
    char *name, *why; /* owned, raw bytes */
    int pass;         /* 1, 0, -1 not told */
} spw_verified_check;

typedef struct spw_verified_point {
    double in_us, out_us;
    bool clamped;
} spw_verified_point;

typedef struct spw_verified {
    bool known;
    int pass; /* 1, 0, -1 not told */
    size_t pairs;
    bool exchanged;
    double gain, u_gain, offset_us, u_offset_us;
    double dof; /* of the line; INFINITY */
    double latency_ms, latency_max_ms;
    spw_verified_check *check;
    size_t checks;
    spw_verified_point *point;
    size_t points;
} spw_verified;

/* Reads `verify --json`. */
spw_status spw_verified_read(const char *path, spw_verified *verified,
                             spw_error *error) SPW_CHECKED;
void spw_verified_free(spw_verified *verified);

#endif
