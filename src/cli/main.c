/* spanwright: picks a command and returns its exit status. */
#include "cli/commands.h"
#include "cli/complain.h"
#include "cli/help.h"

#include <fcntl.h>
#include <gsl/gsl_errno.h>
#include <signal.h>
#include <string.h>
#include <unistd.h>

/* A closed descriptor must not become that of the next file opened. Using one
 * that was closed stays an error: each is opened the other way round. */
static bool hold_descriptors(void) {
    for (int fd = 0; fd <= STDERR_FILENO; fd++)
        if (fcntl(fd, F_GETFD) < 0 &&
            open("/dev/null", fd == STDOUT_FILENO ? O_RDONLY : O_WRONLY) != fd)
            return false;
    return true;
}

static int run(cli_command command, int argc, char **argv) {
    cli_options options;
    int status = cli_options_read(&options, command, argc - 1, argv + 1);
    if (status == CLI_GO)
        status = command == CLI_PLAN     ? cli_plan(&options)
                 : command == CLI_VERIFY ? cli_verify(&options)
                 : command == CLI_SHEET  ? cli_sheet(&options)
                 : command == CLI_BENCH  ? cli_bench(&options)
                                         : cli_measure(&options);
    cli_options_free(&options);
    return status;
}

int main(int argc, char **argv) {
    if (!hold_descriptors())
        return CLI_WRONG;
    (void)signal(SIGPIPE, SIG_IGN);    /* writing says so instead, */
    (void)signal(SIGXFSZ, SIG_IGN);    /* and that a file may not grow further */
    (void)gsl_set_error_handler_off(); /* statuses are checked instead */
    if (argc < 2)
        return cli_complain("say what to do: spanwright measure CAPTURE or spanwright plan "
                            "CAPTURE (spanwright --help)");
    const char *word = argv[1];
    if (strcmp(word, "--help") == 0 || strcmp(word, "-h") == 0)
        return cli_help();
    if (strcmp(word, "--version") == 0)
        return cli_version();
    unsigned command = cli_find_command(word);
    if (command != 0)
        return run((cli_command)command, argc, argv);
    if (word[0] == '-')
        return cli_complain("the subcommand comes first: spanwright measure or spanwright plan, "
                            "then the options");
    const char *nearest = cli_nearest_command(word);
    if (nearest != NULL)
        return cli_complain("unknown subcommand %s: did you mean %s?", cli_safe(word).text,
                            nearest);
    return cli_complain(
        "unknown subcommand %s: there are measure, plan, verify, sheet and bench (spanwright "
        "--help)",
        cli_safe(word).text);
}
