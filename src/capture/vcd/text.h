/* The text of a value change dump: words between white space, seen through
 * the source's look-ahead window, and the line each of them stands on. */
#ifndef SPW_CAPTURE_VCD_TEXT_H
#define SPW_CAPTURE_VCD_TEXT_H

#include "capture/source/source.h"

/* Longer words are cut: no word of a dump that this reader uses is longer. */
#define SPW_VCD_WORD_MAX ((size_t)1 << 16)

typedef struct spw_vcd_text {
    spw_source *source; /* borrowed */
    const char *data;   /* the window: what the source gives next */
    size_t length;
    size_t at;      /* read so far of the window */
    size_t whole;   /* where its last whole line ends; SIZE_MAX: not looked up yet */
    size_t mark;    /* line ends are counted up to here, */
    uint64_t lines; /* so many */
    bool last;      /* the content ends with the window */
    bool in_word;   /* the rest of a cut word comes next */
} spw_vcd_text;

/* A word: p[0 .. n), in the window until the next call. n 0: the end. */
typedef struct spw_vcd_word {
    const char *p;
    size_t n;
    bool cut;  /* it was longer than SPW_VCD_WORD_MAX */
    bool open; /* the content ends right behind it: it may be incomplete */
} spw_vcd_word;

static inline bool spw_vcd_white(char c) {
    return c == ' ' || (unsigned char)(c - '\t') < 5; /* tab, line ends, form feed */
}

/* Shifts the window to `at` and makes it reach further. */
spw_status spw_vcd_text_more(spw_vcd_text *text, spw_error *error) SPW_CHECKED;
/* Takes the next word. */
spw_status spw_vcd_text_word(spw_vcd_text *text, spw_vcd_word *word, spw_error *error) SPW_CHECKED;
/* Gives back the word that was just taken. */
void spw_vcd_text_back(spw_vcd_text *text, const spw_vcd_word *word);
/* Skips what is left of the line. */
spw_status spw_vcd_text_skip_line(spw_vcd_text *text, spw_error *error) SPW_CHECKED;
/* Where the last whole line of the window ends. */
size_t spw_vcd_text_lines_end(spw_vcd_text *text);
/* Line, counted from 1, of a place in the window. */
uint64_t spw_vcd_text_line(spw_vcd_text *text, const char *place);

/* Is the word this text? */
bool spw_vcd_word_is(const spw_vcd_word *word, const char *string);

#endif
