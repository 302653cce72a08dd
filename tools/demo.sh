#!/bin/sh
# Runs the main job on the shipped captures and shows commands and answers.
#
#   tools/demo.sh [WRAPPER...] PROGRAM      (a wrapper: valgrind and its options)
set -u
export LC_ALL=C
cd "$(dirname "$0")/.." || exit 2
[ $# -gt 0 ] || { echo "usage: tools/demo.sh [WRAPPER...] PROGRAM" >&2; exit 2; }
made=build/demo # where it writes
mkdir -p $made || exit 2
answer=$made/wren-plan.json
bad=0

# A command as one would type it, and its answer.
run() {
    echo
    echo "\$ spanwright $arguments"
    echo
    # shellcheck disable=SC2086
    "$@" $arguments || { echo "demo: status $?"; bad=1; }
}
arguments="measure captures/wren-claw.vcd" run "$@"
arguments="measure captures/wren-claw.wav" run "$@"
arguments="plan --bench captures/wren-claw.ini captures/wren-claw.wav" run "$@"
arguments="plan --bench captures/wren-claw.ini captures/wren-claw.wav --json -o $answer --force" run "$@"
arguments="verify captures/wren-adapter.vcd --before link --after servo --plan $answer" run "$@"
arguments="sheet captures/wren-claw.wav --bench captures/wren-claw.ini --plan $answer --date 2026-05-02 -o $made/wren-sheet.html --force" run "$@"
arguments="plan --bench captures/wren-lid.ini captures/wren-lid.csv" run "$@"
arguments="plan --bench captures/wren-roller.ini --rate 500000 captures/wren-roller.raw.gz" run "$@"

# The first figure called $1 after the word $2 of an answer in JSON.
figure() { sed -n "/\"$2\"/,\$ s/.*\"$1\": \"\\{0,1\\}\\([^\",]*\\).*/\\1/p" "$answer" | head -n 1; }
echo
echo "The inspection sheet is in $made/wren-sheet.html: open it in a browser or print it."
[ $bad -eq 0 ] || { echo "demo: something failed"; exit 1; }
decision=$(figure decision schema)
echo "Wren's claw: the controller covers $(printf '%.1f' "$(figure range_covered_percent schema)") % of the" \
    "servo's range; decision: $decision, gain $(printf '%.4f' "$(figure gain remap)")," \
    "offset $(printf '%.1f' "$(figure offset_us remap)") us; the joint then reaches what it needs:" \
    "$(figure reached_after joint)."
