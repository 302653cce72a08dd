#include "fuzz/shared.h"

#include "base/utf8.h"

#include <fcntl.h>
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#define SLOTS 4
#define PIPE_ROOM (1 << 20)

void fuzz_promise(bool kept, const char *what) {
    if (kept)
        return;
    (void)fprintf(stderr, "broken promise: %s\n", what);
    abort();
}

uint8_t fuzz_byte(fuzz_input *input) {
    if (input->left == 0)
        return 0;
    input->left--;
    return *input->at++;
}

/* --- bytes as a file --- */

const char *fuzz_file(unsigned slot, const void *bytes, size_t length) {
    static struct {
        int fd;
        char path[32];
    } file[SLOTS];
    fuzz_promise(slot < SLOTS, "a slot");
    if (file[slot].path[0] == '\0') {
        file[slot].fd = memfd_create("fuzz", MFD_CLOEXEC);
        fuzz_promise(file[slot].fd >= 0, "a file in memory");
        (void)snprintf(file[slot].path, sizeof file[slot].path, "/proc/self/fd/%d", file[slot].fd);
    }
    fuzz_promise(ftruncate(file[slot].fd, 0) == 0, "an empty file");
    const char *from = bytes;
    for (size_t done = 0; done < length;) {
        ssize_t n = pwrite(file[slot].fd, from + done, length - done, (off_t)done);
        fuzz_promise(n > 0, "a file written");
        done += (size_t)n;
    }
    return file[slot].path;
}

/* --- bytes as a pipe --- */

/* A pipe in packet mode hands over one packet a read: short reads without a second thread.
 * A packet that is longer than the read loses its rest, so up to the first 512 bytes, which are
 * read as such, pieces divide 512. */
static bool write_pieces(int fd, const char *bytes, size_t length, size_t piece) {
    for (size_t done = 0; done < length;) {
        size_t n = length - done < piece ? length - done : piece;
        if (write(fd, bytes + done, n) != (ssize_t)n)
            return false;
        done += n;
    }
    return true;
}

bool fuzz_stdin(const void *bytes, size_t length, size_t piece) {
    int ends[2];
    if (pipe2(ends, O_CLOEXEC | O_NONBLOCK | (piece > 0 ? O_DIRECT : 0)) != 0)
        return false;
    (void)fcntl(ends[1], F_SETPIPE_SZ, PIPE_ROOM);
    bool written = write_pieces(ends[1], bytes, length, piece > 0 ? piece : length + 1);
    written = written && dup2(ends[0], STDIN_FILENO) == STDIN_FILENO;
    close(ends[0]);
    close(ends[1]);
    return written;
}

void fuzz_stdin_end(void) {
    int nothing = open("/dev/null", O_RDONLY | O_CLOEXEC);
    fuzz_promise(nothing >= 0 && dup2(nothing, STDIN_FILENO) == STDIN_FILENO, "standard input");
    close(nothing);
}

/* --- what is said and written --- */

static bool names_are_ours;

void fuzz_names_are_ours(bool ours) {
    names_are_ours = ours;
}

static bool in_word(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
}

/* What printf writes for what is no number, as a word of its own. */
static void no_nonsense(const char *bytes, size_t length) {
    static const char *const words[] = {"nan", "inf", "NaN", "Infinity"};
    for (size_t k = 0; k < sizeof words / sizeof words[0]; k++) {
        size_t n = strlen(words[k]);
        for (const char *at = bytes;
             (at = memmem(at, length - (size_t)(at - bytes), words[k], n)) != NULL; at += n)
            fuzz_promise((at > bytes && in_word(at[-1])) ||
                             (at + n < bytes + length && in_word(at[n])),
                         "numbers that are shown are numbers");
    }
}

void fuzz_shown(const char *bytes, size_t length) {
    if (names_are_ours)
        no_nonsense(bytes, length);
    for (size_t at = 0; at < length;) {
        uint32_t code;
        if ((bytes[at] >= ' ' && bytes[at] <= '~') || bytes[at] == '\n') {
            at++;
            continue;
        }
        size_t n = spw_utf8_next(bytes + at, length - at, &code);
        fuzz_promise(n > 0, "text is UTF-8");
        fuzz_promise(spw_utf8_showable(code), "text can be shown");
        at += n;
    }
}

void fuzz_error_said(const spw_error *error, spw_status status) {
    fuzz_promise(error->status == status, "the error has the status returned");
    fuzz_promise(error->message[0] != '\0', "a refusal says why");
    fuzz_promise(strchr(error->message, '\n') == NULL, "a message is one line");
    fuzz_shown(error->message, strlen(error->message));
    fuzz_shown(error->file, strlen(error->file));
}

void fuzz_json(const char *bytes, size_t length) {
    fuzz_shown(bytes, length);
    json_t *root = json_loadb(bytes, length, JSON_REJECT_DUPLICATES, NULL);
    fuzz_promise(json_is_object(root), "JSON that is written can be read");
    json_decref(root);
}

bool fuzz_alike(double a, double b) {
    return (isnan(a) && isnan(b)) || a == b || fabs(a - b) <= 1e-9 * fabs(a);
}
