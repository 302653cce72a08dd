/* Reader of value change dumps (IEEE Std 1364-2005 clause 18, four-state VCD):
 * what its files share.
 *
 *   vcd.c           the reading as a whole; recognition
 *   vcd_header.c    declarations: sections, scopes, time scale
 *   vcd_variable.c  declaration of one variable
 *   vcd_reference.c the name and the bits of one variable
 *   vcd_changes.c   time marks and value changes
 *   vcd_quick.c     the usual ones of them, fast
 *   vcd_levels.c    levels of lines within a time step, channels
 *   vcd_send.c      changes of channels on their way to the sink
 *   vcd_names.c     names of channels
 *   vcd_notes.c     what is said about a file, once a kind
 *   vcd_text.c vcd_codes.c vcd_scale.c   words, identifier codes, time scale
 *
 * A scalar is a channel and is announced, in the order of declaration, when
 * the declarations end; a bit of a vector is announced when it changes for
 * the first time. */
#ifndef SPW_CAPTURE_VCD_VCD_H
#define SPW_CAPTURE_VCD_VCD_H

#include "capture/reader.h"
#include "capture/vcd/codes.h"
#include "capture/vcd/scale.h"
#include "capture/vcd/text.h"

/* Bounds of memory. Past them variables are left out, with a warning. */
#define SPW_VCD_VARIABLES_MAX ((uint32_t)1 << 18) /* different identifier codes */
#define SPW_VCD_NAMES_MAX ((size_t)8 << 20)       /* bytes of all names of scopes and variables */
#define SPW_VCD_CHANNELS_MAX 4096u
#define SPW_VCD_WIDTH_MAX 4096u              /* bits of a vector */
#define SPW_VCD_BITS_MAX ((uint32_t)2 << 20) /* bits of all vectors */
#define SPW_VCD_NAME_MAX ((size_t)1024)      /* bytes of a channel's name with its NUL */
#define SPW_VCD_LEAF_MAX ((size_t)512)       /* bytes of one name within it */
#define SPW_VCD_DEPTH_MAX 256u               /* scopes within scopes */

/* A channel's number, or why there is none yet. */
typedef uint16_t spw_vcd_tag;
#define SPW_VCD_LEFT_OUT ((spw_vcd_tag)0xfff0)
#define SPW_VCD_WAS_LOW ((spw_vcd_tag)0xfff1) /* has had one known level only */
#define SPW_VCD_WAS_HIGH ((spw_vcd_tag)0xfff2)
#define SPW_VCD_NEVER_KNOWN ((spw_vcd_tag)0xfff3)

/* A variable, by its identifier code. */
typedef struct spw_vcd_variable {
    uint32_t width; /* 0: no levels (real, event ...) or left out */
    uint32_t name;  /* where the record of its name is, see vcd_names.c */
    uint32_t bits;  /* vector: where the levels of its bits are, leftmost first */
    int32_t left;   /* vector: index of the leftmost bit */
    bool ascending; /* vector: indices rise to the right */
    bool touched;   /* changed within this time step */
    bool live;      /* known since the dump was last switched on */
    uint8_t was;    /* scalar: its spw_level when the time step began */
    uint8_t now;
    spw_vcd_tag tag; /* scalar */
} spw_vcd_variable;

/* Changes of a channel that are counted only (spw_sink's pass_s). */
typedef struct spw_vcd_passing {
    uint64_t within; /* steps; those that follow sooner are counted; 0: none */
    uint64_t last;   /* steps, of the channel's last change */
    uint64_t n;      /* counted and not told yet */
    uint32_t level;  /* that the last one of them led to */
} spw_vcd_passing;

/* What can be said about a file, each once, with the place of the first. */
typedef enum spw_vcd_note {
    SPW_VCD_NOTE_SCALE_ODD,
    SPW_VCD_NOTE_SCALE_AGAIN,
    SPW_VCD_NOTE_SCALE_OPTION,
    SPW_VCD_NOTE_NO_END,
    SPW_VCD_NOTE_LATE,
    SPW_VCD_NOTE_VAR,
    SPW_VCD_NOTE_TYPE,
    SPW_VCD_NOTE_REAL,
    SPW_VCD_NOTE_EVENT,
    SPW_VCD_NOTE_PARAMETER,
    SPW_VCD_NOTE_STRING,
    SPW_VCD_NOTE_ALIAS_SIZE,
    SPW_VCD_NOTE_WIDE,
    SPW_VCD_NOTE_BITS,
    SPW_VCD_NOTE_VARIABLES,
    SPW_VCD_NOTE_SCALARS,
    SPW_VCD_NOTE_CHANNELS,
    SPW_VCD_NOTE_NAME,
    SPW_VCD_NOTE_TEXT,
    SPW_VCD_NOTE_UNDECLARED,
    SPW_VCD_NOTE_NINE,
    SPW_VCD_NOTE_LONG_VALUE,
    SPW_VCD_NOTES
} spw_vcd_note;

typedef struct spw_vcd_tally {
    uint64_t n;
    uint64_t line;
    char what[64]; /* safe to show */
} spw_vcd_tally;

typedef struct spw_vcd_names {
    char *bytes; /* records of scopes and variables, see vcd_names.c */
    size_t length;
    size_t capacity;
    bool full;
    uint32_t scope; /* the open one, or SPW_VCD_NONE */
    uint32_t depth;
    char **taken;     /* names of the channels, by channel */
    uint16_t *places; /* hash of taken names: channel + 1, 0 is free */
} spw_vcd_names;

typedef struct spw_vcd {
    spw_vcd_text text;
    spw_emitter *emitter; /* borrowed, as the next three */
    const spw_read_options *options;
    spw_capture_summary *summary;
    spw_error *error;

    spw_vcd_codes codes;
    spw_vcd_names names;
    spw_vcd_variable *variables;
    size_t n_variables, variables_room;

    uint8_t *bit_was, *bit_now; /* of vectors, as `was`, `now`, `tag` of a scalar */
    spw_vcd_tag *bit_tag;
    uint32_t *touched, *live; /* variables by number, room for all */
    size_t n_touched, n_live;
    spw_vcd_passing *passing; /* by channel, room for all */

    spw_vcd_scale scale;
    uint64_t first; /* steps, as the next */
    uint64_t time;
    const char *section; /* in the body of $dumpvars ... or NULL; static */
    spw_vcd_tally tally[SPW_VCD_NOTES];

    uint32_t n_scalars;
    uint32_t n_bits; /* of all vectors */
    uint32_t n_channels;
    bool has_scale;
    bool left_out;     /* some variables are: undeclared codes are no surprise */
    bool has_values;   /* a value change was seen */
    bool has_time;     /* a time mark was seen */
    bool switched_off; /* in the body of $dumpoff */
    bool stopped;      /* damage: nothing more is read */
} spw_vcd;

/* One section's words, up to $end. Zeroed to start, but for `vcd`. */
typedef struct spw_vcd_section {
    spw_vcd *vcd;
    spw_vcd_word word;
    bool done;
} spw_vcd_section;
/* The next word; `done` at $end, at the end of the content, and where a
 * declaration begins because an $end was forgotten. */
spw_status spw_vcd_section_next(spw_vcd_section *part) SPW_CHECKED;
/* Skips what is left of it. */
spw_status spw_vcd_section_finish(spw_vcd_section *part) SPW_CHECKED;

/* A $var; `line` is its own. */
spw_status spw_vcd_declare(spw_vcd *vcd, uint64_t line) SPW_CHECKED;
/* Declarations, up to and with $enddefinitions; announces the scalars. */
spw_status spw_vcd_header(spw_vcd *vcd) SPW_CHECKED;
spw_status spw_vcd_refuse_extended(spw_vcd *vcd, uint64_t line) SPW_CHECKED;
/* Reads on as long as it is time marks and value changes in whole lines. */
spw_status spw_vcd_quick(spw_vcd *vcd) SPW_CHECKED;
/* All that comes behind the declarations. */
spw_status spw_vcd_changes(spw_vcd *vcd) SPW_CHECKED;

/* A reference as declared, words joined by one blank: splits off a bit or a
 * range of bits.
 *   name      in: text, cut to SPW_VCD_LEAF_MAX; out: the variable's own name
 *   variable  `width` set; `left` and `ascending` are filled
 * Returns the length of the name. */
size_t spw_vcd_reference(char *name, size_t length, spw_vcd_variable *variable);

/* Names. SPW_ERR_LIMIT: SPW_VCD_NAMES_MAX. */
spw_status spw_vcd_names_enter(spw_vcd_names *names, const char *name, size_t length) SPW_CHECKED;
void spw_vcd_names_leave(spw_vcd_names *names);
spw_status spw_vcd_names_keep(spw_vcd_names *names, const char *name, size_t length,
                              uint32_t *where) SPW_CHECKED;
/* The whole name of a variable, or of its bit when `bit` >= 0 (counted from
 * the leftmost). Returns its length; *cut: outer scopes did not fit. */
size_t spw_vcd_name_whole(const spw_vcd_names *names, const spw_vcd_variable *variable, int64_t bit,
                          char name[SPW_VCD_NAME_MAX], bool *cut);
/* The name of channel `number`: as it is, `ch0` when it has none, with ~2, ~3
 * ... behind it when it is taken. Kept in names->taken. */
spw_status spw_vcd_name_claim(spw_vcd_names *names, char name[SPW_VCD_NAME_MAX], size_t length,
                              uint32_t number) SPW_CHECKED;
void spw_vcd_names_free(spw_vcd_names *names);

/* Levels. */
spw_status spw_vcd_levels_start(spw_vcd *vcd) SPW_CHECKED;
void spw_vcd_levels_free(spw_vcd *vcd);
/* Ends the time step: sends what is different from its beginning. */
spw_status spw_vcd_step_end(spw_vcd *vcd) SPW_CHECKED;
/* The dump is switched off: every level is unknown from here. */
spw_status spw_vcd_switch_off(spw_vcd *vcd) SPW_CHECKED;
/* A new value: digits 0 1 x z or of nine states, leftmost first. */
void spw_vcd_set(spw_vcd *vcd, uint32_t number, const char *digits, size_t n);
spw_status spw_vcd_announce(spw_vcd *vcd, uint32_t number, int64_t bit,
                            spw_vcd_tag *tag) SPW_CHECKED;

/* A channel's change at vcd->first + `steps`, when spw_vcd_send cannot count it. */
spw_status spw_vcd_deliver(spw_vcd *vcd, uint64_t steps, spw_vcd_tag channel,
                           uint8_t level) SPW_CHECKED;
/* Sends a channel's change. */
static inline spw_status spw_vcd_send(spw_vcd *vcd, uint64_t steps, spw_vcd_tag channel,
                                      uint8_t level) {
    spw_vcd_passing *passing = &vcd->passing[channel];
    if (steps - passing->last >= passing->within || level == SPW_LEVEL_UNKNOWN)
        return spw_vcd_deliver(vcd, steps, channel, level);
    passing->last = steps;
    passing->level = level;
    passing->n++;
    return SPW_OK;
}
/* Tells what was counted and not told. */
spw_status spw_vcd_send_end(spw_vcd *vcd) SPW_CHECKED;

static inline void spw_vcd_touch(spw_vcd *vcd, uint32_t number) {
    spw_vcd_variable *variable = &vcd->variables[number];
    if (!variable->touched) {
        variable->touched = true;
        vcd->touched[vcd->n_touched++] = number;
    }
}

/* Level of a digit as spw_level + 1, 0 for a byte that is none. Letters past
 * 0 1 x z are IEEE Std 1164's: H is a weak 1, L a weak 0, U W - tell nothing. */
extern const uint8_t spw_vcd_digit[256];
extern const uint8_t spw_vcd_digit9[256];

/* Notes. `place` is in the window. */
void spw_vcd_note_at(spw_vcd *vcd, spw_vcd_note note, uint64_t line, const char *what, size_t n);
static inline void spw_vcd_remark(spw_vcd *vcd, spw_vcd_note note, const char *place,
                                  const char *what, size_t n) {
    spw_vcd_tally *tally = &vcd->tally[note];
    if (tally->n++ == 0)
        spw_vcd_note_at(vcd, note, spw_vcd_text_line(&vcd->text, place), what, n);
}
spw_status spw_vcd_tell(spw_vcd *vcd) SPW_CHECKED;

#endif
