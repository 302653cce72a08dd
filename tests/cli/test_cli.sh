#!/bin/bash
# Runs every case of tests/cli/cases and tests/refused through the real command.
#
# A case is a file NAME.case of sections, each starting with a line "%% ...":
#   %% run               shell lines; `spanwright` is the program, $T a fresh folder that is
#                        shown as T in outputs, the current folder is the top of the project
#   %% status N          expected exit status (0 without this section)
#   %% stdout            exactly this output; "%% stdout has": each line is part of the output;
#   %% stderr            the same for standard error (nothing, when there is no section)
#   %% skip              shell lines; the case is skipped when they succeed
# Arguments: cases to run (default: all). Last line: "N passed, M failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
: "${SPANWRIGHT:=build/spanwright}"
PROGRAM=$(realpath "$SPANWRIGHT") || exit 2
[ -x "$PROGRAM" ] || { echo "$PROGRAM: no such program"; echo "0 passed, 1 failed"; exit 2; }
export PROGRAM
spanwright() { "$PROGRAM" "$@"; }
export -f spanwright
export LC_ALL=C.UTF-8
unset NO_COLOR
work=$(mktemp -d "${TMPDIR:-/tmp}/spw-cli.XXXXXX") || exit 2
trap 'chmod -R u+w "$work"; rm -rf "$work"' EXIT
passed=0 failed=0

# section FILE NAME: the lines of a section, without its head
section() { awk -v want="%% $2" '/^%% /{on = ($0 == want); next} on' "$1"; }
has() { grep -q "^%% $2" "$1"; }

# compare CASE stream: prints what is wrong
compare() {
    shown=$work/$2.shown
    sed "s|$T|T|g; s|$PROGRAM|spanwright|g" "$work/$2" >"$shown"
    if has "$1" "$2 has\$"; then
        section "$1" "$2 has" | while IFS= read -r line; do
            grep -qF -- "$line" "$shown" || { echo "$2 lacks: $line"; sed 's/^/    /' "$shown"; }
        done
    elif has "$1" "$2\$"; then
        section "$1" "$2" | diff - "$shown" >"$work/diff" || { echo "$2 differs (<expected >seen):"; cat "$work/diff"; }
    elif [ "$2" = stderr ] && [ -s "$shown" ]; then
        echo "stderr should be empty:"
        cat "$shown"
    fi
}

run_case() {
    T=$work/case
    export T
    chmod -R u+w "$T" 2>/dev/null
    rm -rf "$T" && mkdir "$T"
    section "$1" skip >"$work/skip"
    if has "$1" 'skip$' && bash "$work/skip" >/dev/null 2>&1; then
        echo "skip $1"
        return
    fi
    section "$1" run >"$work/run"
    bash "$work/run" >"$work/stdout" 2>"$work/stderr" </dev/null
    status=$?
    wanted=$(sed -n 's/^%% status //p' "$1")
    wrong=$(
        [ $status -eq "${wanted:-0}" ] || echo "status $status, not ${wanted:-0}"
        compare "$1" stdout
        compare "$1" stderr
    )
    if [ -z "$wrong" ]; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        printf 'FAIL %s\n%s\n' "$1" "$wrong"
        [ "${wanted:-0}" -eq "$status" ] || cat "$work/stderr"
    fi
}

[ $# -gt 0 ] || set -- $(find tests/cli/cases tests/refused -name '*.case' | sort)
for case in "$@"; do
    run_case "$case"
done
echo "$passed passed, $failed failed"
[ $failed -eq 0 ]
