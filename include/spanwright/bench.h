/* spanwright: the bench file: what a person knows and no capture shows.
 * INI, read by inih; every key names its unit and has a default; an unknown
 * section or key is an error with its line. */
#ifndef SPANWRIGHT_BENCH_H
#define SPANWRIGHT_BENCH_H

#include "base.h"

#ifdef __cplusplus
extern "C" {
#endif
#if defined(__GNUC__)
#pragma GCC visibility push(default)
#endif

typedef enum spw_servo_mode { SPW_SERVO_POSITIONAL, SPW_SERVO_CONTINUOUS } spw_servo_mode;

/* NAN: not told. Text fields: raw bytes, "" when not told. */
typedef struct spw_servo {
    char name[128];
    double expected_low_us, expected_high_us; /* 500, 2500; low < high, 1..100000 */
    double tolerance_us;                      /* 10 */
    double dead_band_us;                      /* whole width; NAN */
    spw_servo_mode mode;                      /* positional */
    double travel_deg;                        /* over the expected range; NAN */
    double neutral_us;                        /* 1500 */
    double fastest_frame_hz;                  /* NAN */
    double stop_low_us, stop_high_us;         /* continuous: pulses at which it stands still; NAN */
    double rpm_per_us; /* continuous: speed a microsecond off the stop band; NAN */
} spw_servo;

typedef struct spw_controller {
    char name[128];
    char channel[256];
    double asked_low_us, asked_neutral_us, asked_high_us,
        asked_frame_us; /* what it was told to send; NAN */
    bool adjustable;    /* no */
} spw_controller;

typedef struct spw_recorder {
    double timebase_ppm; /* NAN: not told (the option's default holds) */
} spw_recorder;

typedef enum spw_remap_kind { SPW_REMAP_STRAIGHT, SPW_REMAP_BENT } spw_remap_kind;

/* An adapter's timer. */
#define SPW_TICK_US_MIN 0.25
#define SPW_TICK_US_MAX 4.0

typedef struct spw_adapter_facts {
    double tick_us;         /* 1 (SPW_TICK_US_MIN .. SPW_TICK_US_MAX) */
    unsigned word_bits;     /* 32 (16, 32, 64): the widest product */
    spw_remap_kind neutral; /* straight */
    double margin_us;       /* 0 */
    bool reverse;           /* no */
    double gap_us;          /* 300 */
    double clock_ppm;       /* 0 */
} spw_adapter_facts;

typedef struct spw_joint_facts {
    double reduction;                         /* 1: turns of the servo a turn of the joint */
    double needed_deg;                        /* NAN */
    double allowed_low_deg, allowed_high_deg; /* joint degrees from the neutral position; NAN */
} spw_joint_facts;

typedef struct spw_inspection {
    char event[128], robot[128], port[128], inspector[128], date[32];
} spw_inspection;

typedef struct spw_bench {
    spw_servo servo;
    spw_controller controller;
    spw_recorder recorder;
    spw_adapter_facts adapter;
    spw_joint_facts joint;
    spw_inspection inspection;
} spw_bench;

/* Everything at its default. */
spw_bench spw_bench_defaults(void);
/* Reads a bench file over the defaults. Errors carry file and line: unknown
 * section or key, a value that is no number or out of range, a key twice. */
spw_status spw_bench_read(const char *path, spw_bench *bench, spw_error *error) SPW_CHECKED;
/* What values must hold together: low below high, allowed angles only with the
 * servo's angle. spw_bench_read has checked it; a caller who changes values
 * afterwards checks again. SPW_ERR_FORMAT with a sentence otherwise. */
spw_status spw_bench_check(const spw_bench *bench, spw_error *error) SPW_CHECKED;
/* Every section and key with unit, default and meaning, as a bench file. */
spw_status spw_bench_template(spw_text *text) SPW_CHECKED;

#if defined(__GNUC__)
#pragma GCC visibility pop
#endif
#ifdef __cplusplus
}
#endif
#endif
