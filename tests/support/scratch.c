#include "support/scratch.h"
#include "support/test.h"

#include <archive.h>
#include <archive_entry.h>
#include <dirent.h>
#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static char folder[] = "/tmp/spw-test-XXXXXX";

int scratch_make(void **state) {
    (void)state;
    return mkdtemp(folder) == NULL ? -1 : 0;
}

int scratch_remove(void **state) {
    (void)state;
    DIR *open = opendir(folder);
    if (open == NULL)
        return -1;
    for (struct dirent *entry; (entry = readdir(open)) != NULL;)
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0)
            (void)unlinkat(dirfd(open), entry->d_name, 0);
    closedir(open);
    return rmdir(folder);
}

const char *scratch_path(const char *name) {
    static char paths[8][128];
    static unsigned turn;
    char *path = paths[turn++ % 8];
    assert_in_range(snprintf(path, sizeof paths[0], "%s/%s", folder, name), 1, sizeof paths[0] - 1);
    return path;
}

const char *scratch_file(const char *name, const void *bytes, size_t length) {
    const char *path = scratch_path(name);
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, length, file), length);
    assert_int_equal(fclose(file), 0);
    return path;
}

char *scratch_pack(int (*filter)(struct archive *), const void *bytes, size_t length,
                   size_t *packed) {
    size_t room = length + length / 8 + 65536;
    char *out = malloc(room);
    struct archive *archive = archive_write_new();
    struct archive_entry *entry = archive_entry_new();
    assert_true(out != NULL && archive != NULL && entry != NULL);
    assert_int_equal(archive_write_set_format_raw(archive), ARCHIVE_OK);
    assert_int_equal(filter(archive), ARCHIVE_OK);
    archive_write_set_bytes_in_last_block(archive, 1);
    assert_int_equal(archive_write_open_memory(archive, out, room, packed), ARCHIVE_OK);
    archive_entry_set_filetype(entry, AE_IFREG);
    archive_entry_set_pathname(entry, "x");
    assert_int_equal(archive_write_header(archive, entry), ARCHIVE_OK);
    if (length > 0)
        assert_int_equal(archive_write_data(archive, bytes, length), length);
    assert_int_equal(archive_write_close(archive), ARCHIVE_OK);
    archive_entry_free(entry);
    archive_write_free(archive);
    return out;
}

typedef struct feeder {
    pthread_t thread;
    int fd, saved;
    const char *bytes;
    size_t length, piece;
    unsigned pause_us;
} feeder;

static feeder feeding;

static void *feed(void *context) {
    (void)context;
    for (size_t at = 0; at < feeding.length;) {
        size_t rest = feeding.length - at;
        ssize_t n =
            write(feeding.fd, feeding.bytes + at, rest < feeding.piece ? rest : feeding.piece);
        if (n < 0)
            break; /* the reader went away */
        at += (size_t)n;
        if (feeding.pause_us > 0)
            usleep(feeding.pause_us);
    }
    close(feeding.fd);
    return NULL;
}

void scratch_stdin(const void *bytes, size_t length, size_t piece, unsigned pause_us) {
    int ends[2];
    signal(SIGPIPE, SIG_IGN);
    assert_int_equal(pipe(ends), 0);
    feeding = (feeder){
        .fd = ends[1], .bytes = bytes, .length = length, .piece = piece, .pause_us = pause_us};
    feeding.saved = dup(STDIN_FILENO);
    assert_true(feeding.saved >= 0);
    assert_int_equal(dup2(ends[0], STDIN_FILENO), STDIN_FILENO);
    close(ends[0]);
    /* Signals of a test are for its own thread. */
    sigset_t all, before;
    sigfillset(&all);
    pthread_sigmask(SIG_BLOCK, &all, &before);
    assert_int_equal(pthread_create(&feeding.thread, NULL, feed, NULL), 0);
    pthread_sigmask(SIG_SETMASK, &before, NULL);
}

void scratch_stdin_end(void) {
    assert_int_equal(dup2(feeding.saved, STDIN_FILENO), STDIN_FILENO);
    close(feeding.saved);
    pthread_join(feeding.thread, NULL);
}
