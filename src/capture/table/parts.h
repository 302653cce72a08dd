/* The parts of the table reader (CSV, TSV): cells, the dialect of a file, the
 * layout of its columns, the clock its time column keeps, and its rows.
 *
 * The head, the first SPW_SOURCE_LOOK_MAX bytes, decides what the file is; the
 * rows are then read once, and every one is held against that decision. */
#ifndef SPW_CAPTURE_TABLE_PARTS_H
#define SPW_CAPTURE_TABLE_PARTS_H

#include "base/decimal.h"
#include "base/wide.h"
#include "capture/reader.h"

#define SPW_TABLE_COLUMNS_MAX ((size_t)65536) /* cells a row */
#define SPW_TABLE_CHANNELS_MAX ((size_t)1024)
#define SPW_TABLE_HEAD_ROWS ((size_t)65536) /* rows the head is judged by, at most */
#define SPW_TABLE_NONE SIZE_MAX

/* Common practice: a servo's pulses last 500 to 2500 us, with some room. */
#define SPW_TABLE_WIDTH_LEAST_US 400.0
#define SPW_TABLE_WIDTH_MOST_US 2600.0

/* ---- cells (table_cell.c) ---- */

typedef struct spw_table_cell {
    const char *text; /* without the quotes around it and blanks beside it */
    size_t length;
    bool quoted;
} spw_table_cell;

typedef enum spw_table_class {
    SPW_CELL_EMPTY,
    SPW_CELL_NUMBER,
    SPW_CELL_LOW,     /* a word for the low level */
    SPW_CELL_HIGH,    /* a word for the high level */
    SPW_CELL_UNKNOWN, /* x, z, nan, inf, --- ... */
    SPW_CELL_CLOCK,   /* a calendar time or a time of day; `number` has seconds */
    SPW_CELL_DATE,    /* a day alone */
    SPW_CELL_TEXT
} spw_table_class;

/* The cells of one row, one after the other. Start: at = row, end = its end. */
typedef struct spw_table_cells {
    const char *at; /* NULL behind the last cell */
    const char *end;
    char separator;
} spw_table_cells;
bool spw_table_next_cell(spw_table_cells *cells, spw_table_cell *cell);

/* What a cell holds. `number` is filled for NUMBER and CLOCK (seconds since
 * 1970, or since midnight when no day is named: *time_of_day). */
spw_table_class spw_table_classify(const spw_table_cell *cell, char mark, spw_decimal *number,
                                   bool *time_of_day);

/* ---- rows of the head (table_cell.c) ---- */

typedef struct spw_table_row {
    const char *text;
    size_t length; /* without the line's end */
    uint64_t line; /* of its first byte, from 1 */
    bool ended;    /* a line end follows */
} spw_table_row;

typedef struct spw_table_cursor {
    const char *at, *end;
    uint64_t line;
    char line_end;
    char separator; /* of quoted cells that hold line ends; 0: a line is a row */
} spw_table_cursor;
bool spw_table_next_row(spw_table_cursor *cursor, spw_table_row *row);
bool spw_table_row_blank(const spw_table_row *row);
/* Is a last row without a line end whole, as far as the row before tells?
 * As many cells, and a last cell with as many decimals. */
bool spw_table_row_whole(const char *before, size_t before_length, const char *last,
                         size_t last_length, char separator, char mark);

/* ---- words (table_words.c) ---- */

/* Splits a header cell into its name and the unit behind it: "Time [us]",
 * "time(us)", "t/us", "time_us", or a unit alone (name_length 0). Behind a number
 * ("length 400 ms") it is that number's unit and none of the column.
 *   exponent   out: the unit in powers of ten of a second
 * False when there is no unit of time in it. */
bool spw_table_time_unit(const char *text, size_t length, size_t *name_length, int *exponent);
/* The same for volts: factor to volts. Only in brackets, after a slash, or alone. */
bool spw_table_volt_unit(const char *text, size_t length, size_t *name_length, double *factor);
/* Does a header cell name a time, or a count of rows? */
bool spw_table_names_time(const char *text, size_t length);
bool spw_table_names_count(const char *text, size_t length);
/* Level words: SPW_CELL_LOW, _HIGH, _UNKNOWN, or _TEXT. */
spw_table_class spw_table_word(const char *text, size_t length);
/* Calendar times; see spw_table_classify. Returns CLOCK, DATE or TEXT. */
spw_table_class spw_table_calendar(const char *text, size_t length, char mark, spw_decimal *number,
                                   bool *time_of_day);

/* ---- dialect (table_dialect.c) ---- */

typedef struct spw_table_dialect {
    char separator;
    char mark; /* decimal mark */
    char line_end;
    bool ambiguous; /* commas could be separators or decimal marks */
    size_t rows;    /* rows of the head's end that are numbers throughout */
    size_t partly;  /* rows that hold two numbers at least beside words */
    size_t lines;   /* rows looked at */
} spw_table_dialect;
spw_table_dialect spw_table_find_dialect(const char *head, size_t length, bool whole);

/* The last rows of a head: what its end is like. */
#define SPW_TABLE_TAIL_ROWS 256
size_t spw_table_tail_rows(const char *head, size_t length, bool whole, char line_end,
                           spw_table_row rows[SPW_TABLE_TAIL_ROWS]);

/* ---- layout (table_layout.c) ---- */

typedef enum spw_table_role {
    SPW_ROLE_SKIP,
    SPW_ROLE_TIME,
    SPW_ROLE_LOGIC,   /* 0 and 1, or words */
    SPW_ROLE_LEVEL,   /* volts read as logic by a threshold */
    SPW_ROLE_SAMPLES, /* volts */
    SPW_ROLE_WIDTH    /* pulse widths; `factor` makes them us */
} spw_table_role;

typedef struct spw_table_column {
    spw_table_role role;
    bool value;       /* holds numbers or level words */
    bool filled;      /* holds anything */
    bool calendar;    /* holds calendar times; once the time column is found: beside it */
    spw_unit unit;    /* of volts */
    double factor;    /* to volts */
    bool named_volts; /* the header says volts */
    bool unit_named;  /* WIDTH: the header says us or ms */
    spw_table_cell name;
    uint32_t channel;
    size_t slot;       /* SAMPLES: its place among them */
    double low, high;  /* LEVEL: the two levels, before `factor` */
    double up, down;   /* LEVEL: where the level changes */
    uint32_t level;    /* last level delivered, or SPW_TABLE_NO_LEVEL */
    uint64_t bad;      /* cells that held no value */
    uint64_t bad_line; /* the first of them */
} spw_table_column;
#define SPW_TABLE_NO_LEVEL 3u

typedef enum spw_table_unit_source {
    SPW_UNIT_BY_DEFAULT,
    SPW_UNIT_BY_HEADER,
    SPW_UNIT_BY_OPTION,
    SPW_UNIT_BY_SIZE, /* whole numbers that can only count from 1970 */
    SPW_UNIT_BY_CALENDAR
} spw_table_unit_source;

typedef struct spw_table_layout {
    spw_table_dialect dialect;
    spw_table_column *column;
    size_t columns;     /* up to the last one that matters */
    size_t first;       /* the first that holds values */
    size_t time_column; /* or SPW_TABLE_NONE */
    bool time_named;    /* the header names it */
    bool count_named;   /* the header calls the first column a count of rows */
    size_t count_column;
    int time_exponent; /* unit of time in powers of ten of a second */
    spw_table_unit_source unit_source;
    size_t data_at; /* offset of the first row of numbers */
    uint64_t data_line;
    uint64_t names_line; /* 0 when nothing names the columns */
    bool beside_words;   /* the first rows hold words beside the numbers */
    double told_rate_hz; /* of a step or rate in the rows above; NAN */
    uint64_t told_line;
    size_t named, filled; /* cells of the row of names, of the rows of numbers */
} spw_table_layout;
/* "--rate HZ", or the rate that the preamble tells, as advice. */
const char *spw_table_rate_words(const spw_table_layout *layout, char out[96]);

/* Finds columns, first row of numbers, header and time column of a head. */
spw_status spw_table_find_layout(const char *head, size_t length, bool whole,
                                 const spw_read_options *options, spw_table_layout *layout,
                                 spw_error *error) SPW_CHECKED;
void spw_table_layout_free(spw_table_layout *layout);
/* The name of the channel in a column, made unique among `names` (n of them). */
char *spw_table_channel_name(const spw_table_layout *layout, size_t column, char *const *names,
                             size_t n);

/* ---- the head's numbers (table_probe.c) ---- */

typedef struct spw_table_probe {
    size_t rows;
    size_t channels; /* value columns */
    size_t *column;  /* their places */
    spw_decimal *time;
    uint64_t *line;
    double *value;      /* rows x channels, NAN where there is none */
    bool *two_levels;   /* per channel: 0/1 or two levels well apart */
    bool *varies;       /* per channel: more than one value */
    bool *fractional;   /* per channel: some cell has a decimal mark or an exponent */
    bool *noisy;        /* per channel, of volts: values scatter about the levels */
    double *low, *high; /* per channel, of volts */
    bool whole;         /* the head is the whole file */
    bool time_of_day;
} spw_table_probe;
spw_status spw_table_probe_head(const char *head, size_t length, bool whole,
                                spw_table_layout *layout, spw_table_probe *probe,
                                spw_error *error) SPW_CHECKED;
void spw_table_probe_free(spw_table_probe *probe);
/* Share of rows that differ from the row before by level in some column;
 * NAN when a column has no levels, or so few rows of noisy ones that they
 * could be samples. */
double spw_table_probe_changing(const spw_table_probe *probe);
/* Does some column hold volts that scatter about two levels, as samples do? */
bool spw_table_probe_sampled(const spw_table_probe *probe);
/* Rows at the time of the row before that change nothing. */
size_t spw_table_probe_idle_repeats(const spw_table_probe *probe, const int64_t *tick, size_t rows);

/* ---- clock (table_clock.c, table_fit.c) ---- */

typedef enum spw_table_clock_kind {
    SPW_CLOCK_ROWS, /* every row has its own time */
    SPW_CLOCK_EVEN, /* rows are samples one step apart */
    SPW_CLOCK_RATE  /* no time column: the rate is given */
} spw_table_clock_kind;

typedef struct spw_table_clock {
    spw_table_clock_kind kind;
    int place;           /* a tick is 10^place of the column's unit */
    int second_exponent; /* a tick is 10^second_exponent seconds */
    spw_wide first;      /* ticks of the first row */
    double step;         /* EVEN: ticks a row */
    double step_doubt;   /* relative doubt of the step */
    bool snapped;        /* the step is the simplest number that fits */
    bool rebuilt;        /* the head's times are rounded: the row's number tells the time */
    bool exact;          /* every step of the head is the same number of ticks */
    double narrow;       /* the finest rounding of the head, in ticks */
    double resolution_s;
    bool sampled; /* ROWS: resolution_s is the usual step of samples, not a printed digit */
    double rate_hz;
    /* running */
    uint64_t rows; /* rows taken, missing ones included */
    int64_t last;  /* tick of the last row */
    double anchor; /* tick, row and rounding that the steps are counted from */
    double anchor_width;
    uint64_t anchor_row;
    bool leans; /* the last row's time was taken from its number */
} spw_table_clock;

typedef enum spw_table_step {
    SPW_STEP_GOOD,
    SPW_STEP_GAP,    /* whole steps are missing */
    SPW_STEP_REPEAT, /* the time of the row before */
    SPW_STEP_BACK,   /* time runs backwards */
    SPW_STEP_OFF     /* out of step */
} spw_table_step;

/* A time in ticks of the clock's unit, not counted from the first row. False: it is too large. */
bool spw_table_wide_ticks(const spw_table_clock *clock, const spw_decimal *time, spw_wide *ticks);
/* Ticks of an instant since the first; false when they do not fit. */
bool spw_table_ticks(const spw_table_clock *clock, const spw_decimal *time, int64_t *tick);
/* Half the last printed place of a number, in ticks. */
double spw_table_rounding(const spw_table_clock *clock, const spw_decimal *time);
double spw_table_tick_s(const spw_table_clock *clock, double tick);
/* Holds the next row against the clock. Only GOOD moves the clock on.
 *   width     rounding of the tick
 *   missing   out: rows missing before this one (GAP) */
spw_table_step spw_table_clock_step(spw_table_clock *clock, int64_t tick, double width,
                                    uint64_t *missing);
/* How far the next rows, with times rounded like the last one's, may be off
 * and still be GOOD without a closer look; 0 when none may. */
double spw_table_clock_allowed(const spw_table_clock *clock, double width);
/* Rows before the clock wants to look at one closely again. */
uint64_t spw_table_clock_patience(const spw_table_clock *clock);
/* Goes on from a row that was out of step, `missing` rows later. */
void spw_table_clock_resume(spw_table_clock *clock, int64_t tick, double width, uint64_t missing);
/* Seconds since the first row of the row just taken. */
double spw_table_clock_now_s(const spw_table_clock *clock);
/* Back to the first row. */
void spw_table_clock_rewind(spw_table_clock *clock);

/* Decides on the clock from the head's times; `rounded` tells of equal times
 * of rows that look like samples but fit no even step. */
typedef struct spw_table_fit {
    spw_table_clock clock;
    bool rounded;
    bool uneven_samples; /* rows are samples, each at its own time */
    bool backwards;      /* at row `back_row` of the head */
    size_t back_row;
    int64_t usual_step; /* median, in ticks */
    size_t rows;        /* rows of the head in time order */
    bool counts;        /* 0, 1, 2, ... or 1, 2, 3, ... */
} spw_table_fit;
/* Median distance of the first channel's pulses, or of the rows where no channel has
 * levels, in numbers of the time column; NAN (also out of memory: it serves an advice). */
double spw_table_probe_spacing(const spw_table_probe *probe, const spw_table_clock *clock);
spw_status spw_table_fit_clock(const spw_table_layout *layout, const spw_table_probe *probe,
                               spw_table_fit *fit, spw_error *error) SPW_CHECKED;

/* ---- rows (table_rows.c) ---- */

typedef struct spw_table_job {
    spw_source *source;
    spw_emitter *emitter;
    spw_capture_summary *summary;
    spw_error *error;
    spw_table_layout *layout;
    spw_table_clock clock;
    bool time_of_day;
    uint32_t channels;
} spw_table_job;

#endif
