/* SHA-256 of a file, by nettle. */
#include "base/reason.h"
#include "spanwright/base.h"

#include <errno.h>
#include <fcntl.h>
#include <nettle/base16.h>
#include <nettle/sha2.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define CHUNK_BYTES 65536

static spw_status digest_descriptor(int fd, char hex[65], spw_error *error) {
    unsigned char *chunk = malloc(CHUNK_BYTES);
    if (chunk == NULL)
        return spw_error_set(error, SPW_ERR_MEMORY, "out of memory");
    struct sha256_ctx context;
    sha256_init(&context);
    ssize_t got;
    while ((got = read(fd, chunk, CHUNK_BYTES)) != 0) {
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            break;
        sha256_update(&context, (size_t)got, chunk);
    }
    int reason = errno;
    free(chunk);
    if (got < 0) {
        char why[128];
        return spw_error_set(error, SPW_ERR_IO, "cannot read: %s",
                             spw_reason(reason, why, sizeof why));
    }
    uint8_t digest[SHA256_DIGEST_SIZE];
    sha256_digest(&context, sizeof digest, digest);
    base16_encode_update(hex, sizeof digest, digest);
    hex[2 * SHA256_DIGEST_SIZE] = '\0';
    return SPW_OK;
}

spw_status spw_digest_file(const char *path, char hex[65], spw_error *error) {
    if (strcmp(path, "-") == 0)
        return spw_error_set(error, SPW_ERR_ARGUMENT,
                             "standard input has no digest: save the capture to a file first");
    int fd = open(path, O_RDONLY | O_CLOEXEC);
    spw_status status;
    if (fd < 0) {
        char why[128];
        status =
            spw_error_set(error, SPW_ERR_IO, "cannot open: %s", spw_reason(errno, why, sizeof why));
    } else {
        status = digest_descriptor(fd, hex, error);
        (void)close(fd);
    }
    if (status != SPW_OK)
        spw_error_file(error, path);
    return status;
}
