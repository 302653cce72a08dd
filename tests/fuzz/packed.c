/* Compressed captures: bytes that claim to be one, or a capture packed here and then damaged.
 *
 * Four bytes choose: 0 bit 0 pack here, bits 1-2 by what, bit 3 cut off, bit 4 change a byte,
 * bits 5-7 the pieces of a pipe; 1-2 where (of 65536 parts); 3 the changed bits. */
#include "capture/source/unpack.h"
#include "fuzz/reading.h"
#include "fuzz/shared.h"
#include "fuzz/targets.h"

#include <archive.h>
#include <archive_entry.h>
#include <stdlib.h>
#include <string.h>

static const spw_read_options raw_too = {.has_rate = true, .rate_hz = 1e6};

static void compare_pipe(const void *bytes, size_t length, unsigned piece,
                         const fuzz_reading *first) {
    static const size_t pieces[8] = {0, 4, 8, 16, 64, 128, 256, 512};
    fuzz_reading second;
    if (!fuzz_stdin(bytes, length, pieces[piece & 7]))
        return;
    fuzz_read_path("-", &raw_too, 0, &second);
    fuzz_stdin_end();
    fuzz_promise(fuzz_same_content(first, &second), "a packed pipe and file are read alike");
    fuzz_reading_free(&second);
}

static void read_packed(const void *bytes, size_t length, unsigned piece) {
    fuzz_reading reading;
    fuzz_read_path(fuzz_file(0, bytes, length), &raw_too, 0, &reading);
    compare_pipe(bytes, length, piece, &reading);
    fuzz_reading_free(&reading);
}

typedef int filter(struct archive *);

static char *pack(filter *packing, const fuzz_input *file, size_t *packed) {
    size_t room = file->left + file->left / 8 + 65536;
    char *out = malloc(room);
    struct archive *archive = archive_write_new();
    struct archive_entry *entry = archive_entry_new();
    fuzz_promise(out != NULL && archive != NULL && entry != NULL, "memory to pack");
    archive_entry_set_filetype(entry, AE_IFREG);
    archive_entry_set_pathname(entry, "x");
    bool made = archive_write_set_format_raw(archive) == ARCHIVE_OK &&
                packing(archive) == ARCHIVE_OK &&
                archive_write_set_options(archive, "compression-level=1") == ARCHIVE_OK &&
                archive_write_set_bytes_in_last_block(archive, 1) == ARCHIVE_OK &&
                archive_write_open_memory(archive, out, room, packed) == ARCHIVE_OK &&
                archive_write_header(archive, entry) == ARCHIVE_OK &&
                archive_write_data(archive, file->at, file->left) == (la_ssize_t)file->left &&
                archive_write_close(archive) == ARCHIVE_OK;
    fuzz_promise(made, "a capture packed");
    archive_entry_free(entry);
    archive_write_free(archive);
    return out;
}

/* Would libarchive go on unpacking? A frame to skip may come first (RFC 8878, 3.1.2). */
static bool is_packed(const fuzz_input *file) {
    const uint8_t *head = file->at;
    size_t n = file->left < SPW_INPUT_HEAD ? file->left : SPW_INPUT_HEAD;
    return spw_unpack_recognises((const char *)head, n) != NULL ||
           (n >= 4 && head[0] >> 4 == 5 && memcmp(head + 1, "\x2a\x4d\x18", 3) == 0);
}

/* Unpacked it is what went in, unless that is packed itself. */
static void same_as_plain(const char *packed, size_t length, const fuzz_input *file) {
    fuzz_reading plain, unpacked;
    if (is_packed(file))
        return;
    fuzz_read_path(fuzz_file(0, file->at, file->left), &raw_too, 0, &plain);
    fuzz_read_path(fuzz_file(1, packed, length), &raw_too, 0, &unpacked);
    fuzz_promise(fuzz_same_content(&plain, &unpacked), "a packed capture is read as the plain one");
    fuzz_reading_free(&plain);
    fuzz_reading_free(&unpacked);
}

static void damage(char *packed, size_t *length, uint8_t bits, size_t where, uint8_t change) {
    size_t at = *length * where / 65536;
    if ((bits & 0x10) != 0)
        packed[at] = (char)(packed[at] ^ (char)change);
    if ((bits & 0x08) != 0)
        *length = at;
}

void fuzz_packed(const uint8_t *data, size_t size) {
    static filter *const filters[4] = {archive_write_add_filter_gzip, archive_write_add_filter_xz,
                                       archive_write_add_filter_zstd,
                                       archive_write_add_filter_gzip};
    fuzz_input file = {data, size};
    uint8_t bits = fuzz_byte(&file), high = fuzz_byte(&file), low = fuzz_byte(&file);
    uint8_t change = fuzz_byte(&file);
    if (file.left == 0)
        return;
    if ((bits & 1) == 0) {
        if (spw_unpack_recognises((const char *)file.at, file.left) != NULL)
            read_packed(file.at, file.left, bits >> 5);
        return;
    }
    size_t length;
    char *packed = pack(filters[bits >> 1 & 3], &file, &length);
    if ((bits & 0x18) == 0)
        same_as_plain(packed, length, &file);
    damage(packed, &length, bits, (size_t)high << 8 | low, change);
    if (length > 0)
        read_packed(packed, length, bits >> 5);
    free(packed);
}
