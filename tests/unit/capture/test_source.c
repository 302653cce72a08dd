/* Bytes of files, pipes and compressed files. */
#include "capture/source/source.h"
#include "support/scratch.h"
#include "support/test.h"

#include <archive.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <unistd.h>

typedef int filter(struct archive *);
static filter *const filters[] = {archive_write_add_filter_gzip, archive_write_add_filter_xz,
                                  archive_write_add_filter_zstd};
static const char *const names[] = {"gzip", "xz", "zstd"};

/* Content with 4 bits of information a byte: xorshift (Marsaglia 2003). */
static char *content_of(size_t length) {
    char *content = malloc(length + 1);
    assert_non_null(content);
    uint32_t x = 2463534242u;
    for (size_t i = 0; i < length; i++) {
        x ^= x << 13;
        x ^= x >> 17;
        x ^= x << 5;
        content[i] = (char)('A' + (x >> 9 & 15));
    }
    return content;
}

static spw_source *opened(const char *path, const spw_read_options *options) {
    spw_source *source = NULL;
    spw_error error;
    spw_error_clear(&error);
    spw_status status = spw_source_open(path, options, &source, &error);
    if (status != SPW_OK)
        fail_msg("%s: %s", path, error.message);
    return source;
}

/* Takes everything and compares; returns how much. First as it comes, then in pieces of odd
 * sizes. */
static size_t drain(spw_source *source, const char *expected, size_t length) {
    size_t at = 0;
    for (size_t turn = 0;; turn++) {
        const char *data;
        bool odd = at > length / 2;
        size_t got, want = odd ? 1 + (turn * 7919) % 300000 : 1;
        assert_int_equal(spw_source_look(source, want, &data, &got, NULL), SPW_OK);
        if (got == 0)
            break;
        size_t n = got < want || !odd ? got : want;
        assert_true(at + n <= length);
        assert_memory_equal(data, expected + at, n);
        spw_source_take(source, n);
        at += n;
        assert_int_equal(spw_source_position(source), at);
    }
    return at;
}

typedef struct progress_seen {
    uint64_t done, total, calls;
    bool fell;
} progress_seen;

static void on_progress(void *context, uint64_t done, uint64_t total) {
    progress_seen *seen = context;
    seen->fell |= done <= seen->done;
    seen->done = done;
    seen->total = total;
    seen->calls++;
}

static void plain_file(void **state) {
    (void)state;
    size_t length = 3000017;
    char *content = content_of(length);
    progress_seen seen = {0};
    spw_read_options options = {.progress = on_progress, .progress_context = &seen};
    spw_source *source = opened(scratch_file("plain", content, length), &options);
    assert_int_equal(spw_source_size(source), length);
    assert_null(spw_source_compression(source));
    assert_int_equal(drain(source, content, length), length);
    assert_null(spw_source_damage(source));
    assert_int_equal(seen.done, length);
    assert_int_equal(seen.total, length);
    assert_true(!seen.fell && seen.calls > 3);
    spw_source_free(source);
    free(content);
}

static void look_ahead(void **state) {
    (void)state;
    size_t length = SPW_SOURCE_LOOK_MAX * 2 + 5, got;
    char *content = content_of(length);
    spw_source *source = opened(scratch_file("ahead", content, length), NULL);
    const char *data;
    assert_int_equal(spw_source_look(source, 3, &data, &got, NULL), SPW_OK);
    spw_source_take(source, 3);
    assert_int_equal(spw_source_look(source, SPW_SOURCE_LOOK_MAX, &data, &got, NULL), SPW_OK);
    assert_true(got >= SPW_SOURCE_LOOK_MAX);
    assert_memory_equal(data, content + 3, got);
    spw_error error;
    assert_int_equal(spw_source_look(source, SPW_SOURCE_LOOK_MAX + 1, &data, &got, &error),
                     SPW_ERR_ARGUMENT);
    spw_source_free(source);
    free(content);
}

static void memory(void **state) {
    (void)state;
    char *content = content_of(1000);
    spw_source *source = NULL;
    const char *data;
    size_t got;
    assert_int_equal(spw_source_memory(content, 1000, &source), SPW_OK);
    assert_int_equal(spw_source_look(source, 1, &data, &got, NULL), SPW_OK);
    assert_true(data == content && got == 1000);
    spw_source_step(source, 7);
    assert_int_equal(spw_source_look(source, 1, &data, &got, NULL), SPW_OK);
    assert_int_equal(got, 7);
    assert_int_equal(spw_source_look(source, 9, &data, &got, NULL), SPW_OK);
    assert_int_equal(got, 9);
    assert_int_equal(drain(source, content, 1000), 1000);
    spw_source_free(source);
    assert_int_equal(spw_source_memory(NULL, 0, &source), SPW_OK);
    assert_int_equal(spw_source_look(source, 1, &data, &got, NULL), SPW_OK);
    assert_int_equal(got, 0);
    spw_source_free(source);
    spw_source_free(NULL);
    free(content);
}

static void compressed(void **state) {
    (void)state;
    size_t length = 1234567;
    char *content = content_of(length);
    for (int i = 0; i < 3; i++) {
        size_t packed;
        char *bytes = scratch_pack(filters[i], content, length, &packed);
        progress_seen seen = {0};
        spw_read_options options = {.progress = on_progress, .progress_context = &seen};
        /* recognised by content: the name says something else */
        spw_source *source = opened(scratch_file("packed.vcd", bytes, packed), &options);
        assert_string_equal(spw_source_compression(source), names[i]);
        assert_int_equal(spw_source_size(source), 0);
        assert_int_equal(drain(source, content, length), length);
        assert_null(spw_source_damage(source));
        assert_int_equal(seen.done, packed);
        assert_int_equal(seen.total, packed);
        spw_source_free(source);

        scratch_stdin(bytes, packed, 10007, 0);
        source = opened("-", NULL);
        assert_string_equal(spw_source_compression(source), names[i]);
        assert_int_equal(drain(source, content, length), length);
        spw_source_free(source);
        scratch_stdin_end();
        free(bytes);
    }
    free(content);
}

/* Cut off after 60 %, 4 bits a byte: a little less than 60 % comes out, and
 * libarchive hands on whole blocks of at most 128 KiB. */
static void cut_off(void **state) {
    (void)state;
    size_t length = 3000000;
    char *content = content_of(length);
    for (int i = 0; i < 3; i++) {
        size_t packed;
        char *bytes = scratch_pack(filters[i], content, length, &packed);
        size_t cut = packed * 6 / 10;
        spw_source *source = opened(scratch_file("cut", bytes, cut), NULL);
        size_t got = drain(source, content, length);
        assert_in_range(got, length * 55 / 100 - 131072, length * 61 / 100);
        const char *damage = spw_source_damage(source);
        assert_non_null(damage);
        assert_non_null(strstr(damage, names[i]));
        char where[64];
        snprintf(where, sizeof where, "near byte %zu of the compressed file", cut);
        assert_non_null(strstr(damage, where));
        spw_source_free(source);
        free(bytes);
    }
    free(content);
}

static spw_status refusal(const char *path, spw_error *error) {
    spw_source *source = NULL;
    spw_error_clear(error);
    spw_status status = spw_source_open(path, NULL, &source, error);
    assert_int_not_equal(status, SPW_OK);
    assert_null(source);
    assert_int_equal(error->status, status);
    return status;
}

static void nothing_to_unpack(void **state) {
    (void)state;
    char *content = content_of(300000);
    spw_error error;
    for (int i = 0; i < 3; i++) {
        size_t packed;
        char *bytes = scratch_pack(filters[i], content, 300000, &packed);
        assert_int_equal(refusal(scratch_file("short", bytes, 40), &error), SPW_ERR_FORMAT);
        assert_non_null(strstr(error.message, names[i]));
        memset(bytes + 8, 0x5a, 400);
        assert_int_equal(refusal(scratch_file("garbled", bytes, packed), &error), SPW_ERR_FORMAT);
        free(bytes);
        bytes = scratch_pack(filters[i], content, 0, &packed);
        assert_int_equal(refusal(scratch_file("none", bytes, packed), &error), SPW_ERR_EMPTY);
        free(bytes);
    }
    /* a header of flags that gzip does not know */
    assert_int_equal(refusal(scratch_file("flags", "\x1f\x8b\x08\xff garbage here", 17), &error),
                     SPW_ERR_FORMAT);
    free(content);
}

static void damaged_within(void **state) {
    (void)state;
    size_t length = 3000000, packed;
    char *content = content_of(length);
    char *bytes = scratch_pack(archive_write_add_filter_xz, content, length, &packed);
    memset(bytes + packed / 2, 0, 64);
    spw_source *source = opened(scratch_file("damaged", bytes, packed), NULL);
    size_t got = drain(source, content, length);
    assert_in_range(got, length * 45 / 100 - 131072, length * 51 / 100);
    assert_non_null(spw_source_damage(source));
    spw_source_free(source);
    free(bytes);
    free(content);
}

static void refused_by_the_system(void **state) {
    (void)state;
    spw_error error;
    assert_int_equal(refusal(scratch_path("no such file"), &error), SPW_ERR_IO);
    assert_non_null(strstr(error.message, "No such file"));
    assert_non_null(strstr(error.message, "check the name"));
    assert_int_equal(refusal("/", &error), SPW_ERR_IO);
    assert_non_null(strstr(error.message, "name a file in it"));
    assert_int_equal(refusal(scratch_file("empty", "", 0), &error), SPW_ERR_EMPTY);
    const char *closed = scratch_file("closed", "x", 1);
    assert_int_equal(chmod(closed, 0), 0);
    if (geteuid() != 0) { /* nothing is closed to root */
        assert_int_equal(refusal(closed, &error), SPW_ERR_IO);
        assert_non_null(strstr(error.message, "permission"));
    }
}

static void archives(void **state) {
    (void)state;
    spw_error error;
    char tar[1024] = "capture.vcd";
    memcpy(tar + 257, "ustar\00000", 8);
    const struct {
        const char *bytes;
        size_t length;
        const char *word;
    } cases[] = {
        {"PK\x03\x04 and so on", 14, "zip archive"},
        {tar, sizeof tar, "tar archive"},
        {"7z\xbc\xaf\x27\x1c..", 8, "7z archive"},
        {"BZh91AY&SY", 10, "bzip2"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const char *path = scratch_file("archive.vcd", cases[i].bytes, cases[i].length);
        assert_int_equal(refusal(path, &error), SPW_ERR_UNSUPPORTED);
        assert_non_null(strstr(error.message, cases[i].word));
        assert_non_null(strstr(error.message, "unpack it first"));
    }
    size_t packed;
    char *bytes = scratch_pack(archive_write_add_filter_gzip, tar, sizeof tar, &packed);
    assert_int_equal(refusal(scratch_file("tar.gz", bytes, packed), &error), SPW_ERR_UNSUPPORTED);
    free(bytes);
}

static volatile sig_atomic_t alarms;
static void on_alarm(int signal) {
    (void)signal;
    alarms++;
}

/* A slow writer, and a signal every millisecond that interrupts reads. */
static void interrupted(void **state) {
    (void)state;
    char *content = content_of(100000);
    struct sigaction action = {.sa_handler = on_alarm}; /* no SA_RESTART */
    struct sigaction before;
    assert_int_equal(sigaction(SIGALRM, &action, &before), 0);
    struct itimerval often = {.it_interval = {.tv_usec = 1000}, .it_value = {.tv_usec = 1000}};
    struct itimerval never = {0};
    scratch_stdin(content, 100000, 5000, 3000);
    setitimer(ITIMER_REAL, &often, NULL);
    spw_source *source = opened("-", NULL);
    size_t got = drain(source, content, 100000);
    setitimer(ITIMER_REAL, &never, NULL);
    sigaction(SIGALRM, &before, NULL);
    assert_int_equal(got, 100000);
    assert_null(spw_source_damage(source));
    assert_true(alarms > 0);
    spw_source_free(source);
    scratch_stdin_end();
    free(content);
}

static void not_blocking(void **state) {
    (void)state;
    char *content = content_of(50000);
    scratch_stdin(content, 50000, 10000, 2000);
    assert_int_equal(fcntl(STDIN_FILENO, F_SETFL, O_NONBLOCK), 0);
    spw_source *source = opened("-", NULL);
    assert_int_equal(spw_source_size(source), 0);
    assert_int_equal(drain(source, content, 50000), 50000);
    spw_source_free(source);
    scratch_stdin_end();
    free(content);
}

/* A file redirected to standard input after some of it was read by another. */
static void rest_of_a_file(void **state) {
    (void)state;
    char *content = content_of(5000);
    int fd = open(scratch_file("rest", content, 5000), O_RDONLY);
    int saved = dup(STDIN_FILENO);
    assert_true(fd >= 0 && saved >= 0);
    assert_int_equal(lseek(fd, 1000, SEEK_SET), 1000);
    assert_int_equal(dup2(fd, STDIN_FILENO), STDIN_FILENO);
    spw_source *source = opened("-", NULL);
    assert_int_equal(spw_source_size(source), 4000);
    assert_int_equal(drain(source, content + 1000, 4000), 4000);
    spw_source_free(source);
    assert_int_equal(fcntl(STDIN_FILENO, F_GETFD), 0); /* still open */
    assert_int_equal(dup2(saved, STDIN_FILENO), STDIN_FILENO);
    close(saved);
    close(fd);
    free(content);
}

/* A file whose reading fails after some bytes: /proc/self/mem at an unmapped
 * address, the one file that does so everywhere on Linux. */
static void reading_fails(void **state) {
    (void)state;
    spw_error error;
    assert_int_equal(refusal("/proc/self/mem", &error), SPW_ERR_IO);
    assert_non_null(strstr(error.message, "cannot be read"));
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(plain_file),     cmocka_unit_test(look_ahead),
        cmocka_unit_test(memory),         cmocka_unit_test(compressed),
        cmocka_unit_test(cut_off),        cmocka_unit_test(nothing_to_unpack),
        cmocka_unit_test(damaged_within), cmocka_unit_test(refused_by_the_system),
        cmocka_unit_test(archives),       cmocka_unit_test(interrupted),
        cmocka_unit_test(not_blocking),   cmocka_unit_test(rest_of_a_file),
        cmocka_unit_test(reading_fails),
    };
    return cmocka_run_group_tests(tests, scratch_make, scratch_remove);
}
