/* A page that nothing from a capture broke out of. */
#include "fuzz/shared.h"

#include <string.h>

#define DEEPEST 64

typedef struct scan {
    const char *at, *end;
    struct {
        const char *name;
        size_t length;
    } open[DEEPEST];
    size_t depth;
} scan;

static bool one_of(const char *const *words, const char *name, size_t length) {
    for (; *words != NULL; words++)
        if (strlen(*words) == length && memcmp(*words, name, length) == 0)
            return true;
    return false;
}

static bool in_name(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' ||
           c == ':' || c == '_';
}

static size_t take_name(scan *s, const char **name) {
    *name = s->at;
    while (s->at < s->end && in_name(*s->at))
        s->at++;
    return (size_t)(s->at - *name);
}

static void skip_to(scan *s, const char *mark) {
    const char *found = memmem(s->at, (size_t)(s->end - s->at), mark, strlen(mark));
    fuzz_promise(found != NULL, "a page without loose ends");
    s->at = found + strlen(mark);
}

/* Coordinates are numbers. */
static void check_value(const char *name, size_t length, const char *value, const char *end) {
    static const char *const drawn[] = {
        "d",  "x",  "y",  "x1", "y1",     "x2",      "y2",        "cx",    "cy",     "r",
        "rx", "ry", "dx", "dy", "points", "viewBox", "transform", "width", "height", NULL};
    if (!one_of(drawn, name, length))
        return;
    size_t n = (size_t)(end - value);
    fuzz_promise(memmem(value, n, "nan", 3) == NULL && memmem(value, n, "inf", 3) == NULL,
                 "what is drawn has a place");
}

/* Attributes up to the end of the tag; true when it closes itself. */
static bool attributes(scan *s) {
    for (;;) {
        const char *name;
        while (s->at < s->end && (*s->at == ' ' || *s->at == '\n'))
            s->at++;
        fuzz_promise(s->at < s->end, "a tag that ends");
        if (*s->at == '>' || *s->at == '/') {
            bool closed = *s->at == '/';
            skip_to(s, ">");
            return closed;
        }
        size_t length = take_name(s, &name);
        fuzz_promise(length > 0, "attributes with a name");
        fuzz_promise(length < 3 || memcmp(name, "on", 2) != 0, "no attribute that runs a script");
        if (s->at < s->end && *s->at == '=') {
            s->at++;
            fuzz_promise(s->at < s->end && *s->at == '"', "attributes in quotes");
            const char *value = ++s->at;
            skip_to(s, "\"");
            check_value(name, length, value, s->at - 1);
        }
    }
}

static void begin(scan *s) {
    static const char *const never[] = {"script", "iframe", "object", "embed", "base", NULL};
    static const char *const empty[] = {"meta", "link", "br", "hr", "img", "col", "wbr", NULL};
    const char *name;
    size_t length = take_name(s, &name);
    fuzz_promise(length > 0, "every < begins a tag");
    fuzz_promise(!one_of(never, name, length), "no script and nothing from outside");
    bool closed = attributes(s);
    if (closed || one_of(empty, name, length))
        return;
    if (length == 5 && memcmp(name, "style", 5) == 0) {
        skip_to(s, "</style>");
        return;
    }
    fuzz_promise(s->depth < DEEPEST, "elements nest a few deep");
    s->open[s->depth].name = name;
    s->open[s->depth++].length = length;
}

static void finish(scan *s) {
    const char *name;
    size_t length = take_name(s, &name);
    fuzz_promise(s->depth > 0, "no element is closed that is not open");
    s->depth--;
    fuzz_promise(s->open[s->depth].length == length &&
                     memcmp(s->open[s->depth].name, name, length) == 0,
                 "elements are closed in order");
    skip_to(s, ">");
}

void fuzz_page(const char *bytes, size_t length) {
    scan s = {.at = bytes, .end = bytes + length};
    fuzz_shown(bytes, length);
    while (s.at < s.end) {
        char c = *s.at++;
        if (c != '<')
            continue;
        fuzz_promise(s.at < s.end, "a tag that ends");
        if (*s.at == '!')
            skip_to(&s, ">");
        else if (*s.at == '/')
            s.at++, finish(&s);
        else
            begin(&s);
    }
    fuzz_promise(s.depth == 0, "every element is closed");
}
