/* gzip, xz and zstd by libarchive's filters over its "raw" format. Its own
 * reading of files is not used, so that pipes, interruptions and progress are
 * the same as for plain files. */
#include "capture/source/unpack.h"

#include <archive.h>
#include <archive_entry.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define INPUT_CHUNK ((size_t)1 << 16)
#define PACKED_ONCE 2 /* filters: the unpacker and the file itself */

struct spw_unpacker {
    struct archive *archive;
    spw_input *input;
    const char *name;
    const char *block; /* libarchive's, what was not handed on yet */
    size_t block_left;
    uint64_t given, most; /* bytes */
    char chunk[INPUT_CHUNK];
};

typedef struct magic {
    const char *bytes;
    size_t at;
    size_t length;
    const char *means;
} magic;

static const char *match(const magic *table, size_t n, const char *head, size_t length) {
    for (size_t i = 0; i < n; i++)
        if (length >= table[i].at + table[i].length &&
            memcmp(head + table[i].at, table[i].bytes, table[i].length) == 0)
            return table[i].means;
    return NULL;
}

const char *spw_unpack_recognises(const char *head, size_t length) {
    static const magic packed[] = {
        {"\x1f\x8b\x08", 0, 3, "gzip"},     /* RFC 1952, 2.3.1: ID1 ID2 CM */
        {"\xfd\x37zXZ\0", 0, 6, "xz"},      /* the .xz file format, 2.1.1.1 */
        {"\x28\xb5\x2f\xfd", 0, 4, "zstd"}, /* RFC 8878, 3.1.1 */
    };
    return match(packed, sizeof packed / sizeof packed[0], head, length);
}

#define UNPACK_FIRST "; unpack it first and name the capture in it"
#define OTHER_PACKING "; unpack it first (gzip, xz and zstd are read as they are)"

const char *spw_unpack_refuses(const char *head, size_t length) {
    static const magic refused[] = {
        {"PK\x03\x04", 0, 4, "this is a zip archive" UNPACK_FIRST},
        {"PK\x05\x06", 0, 4, "this is an empty zip archive" UNPACK_FIRST},
        {"ustar", 257, 5, "this is a tar archive" UNPACK_FIRST},
        {"7z\xbc\xaf\x27\x1c", 0, 6, "this is a 7z archive" UNPACK_FIRST},
        {"Rar!\x1a\x07", 0, 6, "this is a rar archive" UNPACK_FIRST},
        {"BZh", 0, 3, "this is bzip2-compressed" OTHER_PACKING},
        {"LZIP\x01", 0, 5, "this is lzip-compressed" OTHER_PACKING},
        {"\x04\x22\x4d\x18", 0, 4, "this is lz4-compressed" OTHER_PACKING},
        {"\x1f\x9d", 0, 2, "this is compressed by the old compress program" OTHER_PACKING},
    };
    return match(refused, sizeof refused / sizeof refused[0], head, length);
}

static la_ssize_t feed(struct archive *archive, void *context, const void **data) {
    spw_unpacker *unpacker = context;
    *data = unpacker->chunk;
    ssize_t got = spw_input_read(unpacker->input, unpacker->chunk, sizeof unpacker->chunk);
    if (got < 0)
        archive_set_error(archive, unpacker->input->failure, "reading failed");
    return got;
}

static int set_up(spw_unpacker *unpacker) {
    struct archive *archive = unpacker->archive;
    /* ARCHIVE_WARN would mean an external program: not wanted. */
    if (archive_read_support_filter_gzip(archive) != ARCHIVE_OK ||
        archive_read_support_filter_xz(archive) != ARCHIVE_OK ||
        archive_read_support_filter_zstd(archive) != ARCHIVE_OK ||
        archive_read_support_format_raw(archive) != ARCHIVE_OK ||
        archive_read_support_format_empty(archive) != ARCHIVE_OK)
        return ARCHIVE_FATAL;
    int status = archive_read_open2(archive, unpacker, NULL, feed, NULL, NULL);
    if (status != ARCHIVE_OK)
        return status;
    /* A garbled header is passed through as if it were no compression at all. */
    if (archive_filter_code(archive, 0) == ARCHIVE_FILTER_NONE ||
        archive_filter_count(archive) > PACKED_ONCE)
        return ARCHIVE_FATAL;
    struct archive_entry *entry;
    return archive_read_next_header(archive, &entry);
}

/* libzstd's own limit on a frame's window is 2^27 bytes (ZSTD_WINDOWLOG_LIMIT_DEFAULT). */
static bool wants_memory(struct archive *archive) {
    const char *told = archive_error_string(archive);
    return told != NULL && strstr(told, "too much memory") != NULL;
}

static spw_status start_failed(spw_unpacker *unpacker, int result, spw_error *error) {
    if (result == ARCHIVE_EOF)
        return spw_error_set(
            error, SPW_ERR_EMPTY,
            "the %s content is empty; record the capture again or name another file",
            unpacker->name);
    if (archive_filter_count(unpacker->archive) > PACKED_ONCE)
        return spw_error_set(error, SPW_ERR_UNSUPPORTED,
                             "the content is packed more than once; unpack it by `%s -d` and read "
                             "what comes out",
                             unpacker->name);
    int reason = archive_errno(unpacker->archive);
    if (reason == ENOMEM)
        return spw_error_set(error, SPW_ERR_MEMORY, "out of memory while unpacking");
    if (unpacker->input->failure != 0)
        return spw_error_set(error, SPW_ERR_IO,
                             "reading failed before anything could be unpacked; "
                             "copy it to a disk that works and read the copy");
    if (wants_memory(unpacker->archive))
        return spw_error_set(error, SPW_ERR_LIMIT,
                             "the %s content looks back over more than 128 MiB, which is not kept; "
                             "unpack it first (`zstd -d --long=31`) and name the capture in it",
                             unpacker->name);
    return spw_error_set(error, SPW_ERR_FORMAT,
                         "the %s content is cut off or damaged within its first %llu bytes, and "
                         "nothing of it could be unpacked; try what `%s -dc` still gets out of it, "
                         "or record the capture again",
                         unpacker->name, (unsigned long long)unpacker->input->done, unpacker->name);
}

spw_status spw_unpacker_new(spw_input *input, const char *name, spw_unpacker **unpacker,
                            spw_error *error) {
    spw_unpacker *made = calloc(1, sizeof *made);
    if (made == NULL)
        return spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    made->input = input;
    made->name = name;
    made->most = SPW_UNPACKED_MAX;
    made->archive = archive_read_new();
    spw_status status = SPW_ERR_MEMORY;
    if (made->archive == NULL)
        spw_error_set(error, status, "out of memory");
    else {
        int result = set_up(made);
        status = result == ARCHIVE_OK ? SPW_OK : start_failed(made, result, error);
    }
    if (status != SPW_OK)
        spw_unpacker_free(made);
    else
        *unpacker = made;
    return status;
}

static void describe_damage(const spw_unpacker *unpacker, char *damage, size_t room) {
    char reason[160];
    const char *told = archive_error_string(unpacker->archive);
    if (told == NULL)
        told = "no reason given";
    spw_text_safe(reason, sizeof reason, told, strlen(told));
    /* Filter -1 is the last one: the file itself. */
    long long near = (long long)archive_filter_bytes(unpacker->archive, -1);
    (void)snprintf(damage, room,
                   "the %s content is cut off or damaged near byte %lld of the compressed file "
                   "(%s); what comes before was read",
                   unpacker->name, near, reason);
}

/* By blocks: archive_read_data would drop the good part of a read that meets
 * the damage. */
ssize_t spw_unpacker_read(spw_unpacker *unpacker, char *data, size_t room, char *damage,
                          size_t damage_room) {
    while (unpacker->block_left == 0) {
        const void *block;
        la_int64_t offset;
        int result =
            archive_read_data_block(unpacker->archive, &block, &unpacker->block_left, &offset);
        if (result == ARCHIVE_EOF)
            return 0;
        if (result != ARCHIVE_OK) {
            unpacker->block_left = 0;
            describe_damage(unpacker, damage, damage_room);
            return -1;
        }
        unpacker->block = block;
    }
    if (unpacker->given >= unpacker->most) {
        (void)snprintf(damage, damage_room,
                       "the %s content unpacks to more than %d GiB, the limit; what comes before "
                       "was read, and `%s -dc FILE | spanwright ... -` reads it all",
                       unpacker->name, SPW_UNPACKED_MAX_GIB, unpacker->name);
        return -1;
    }
    size_t n = unpacker->block_left < room ? unpacker->block_left : room;
    if (n > unpacker->most - unpacker->given)
        n = (size_t)(unpacker->most - unpacker->given);
    memcpy(data, unpacker->block, n);
    unpacker->block += n;
    unpacker->block_left -= n;
    unpacker->given += n;
    return (ssize_t)n;
}

void spw_unpacker_bound(spw_unpacker *unpacker, uint64_t most) {
    unpacker->most = most;
}

void spw_unpacker_free(spw_unpacker *unpacker) {
    if (unpacker == NULL)
        return;
    if (unpacker->archive != NULL)
        (void)archive_read_free(unpacker->archive);
    free(unpacker);
}
