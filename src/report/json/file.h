/* A JSON file of our own read back whole. */
#ifndef SPW_REPORT_JSON_FILE_H
#define SPW_REPORT_JSON_FILE_H

#include "spanwright/base.h"

#include <jansson.h>

/*   maker     the subcommand that writes such a file
 *   noun      what a file of more than most_mib MiB is not ("plan")
 *   root      out, the caller's to json_decref */
spw_status spw_json_file(const char *path, const char *maker, const char *noun, unsigned most_mib,
                         json_t **root, spw_error *error) SPW_CHECKED;

#endif
