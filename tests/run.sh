#!/bin/sh
# Runs every test program given, then every test script, as many at once as there
# are processors, and sums up. The output of what fails is shown whole. V=1 shows all.
# With -only first, nothing but what is given runs.
set -u
cd "$(dirname "$0")/.." || exit 2
: "${BUILD:=build}"
export BUILD
export SPANWRIGHT="$BUILD/spanwright"
logs=$(mktemp -d "${TMPDIR:-/tmp}/spw-test.XXXXXX") || exit 2
trap 'rm -rf "$logs"' EXIT

# The longest first, so that none is left running alone at the end.
order() { sed 's|.*/faults/|0 &|;t;s|.*/simulated/|0 &|;t;s|.*/cli/|0 &|;t;s|^|1 |' | sort | sed 's/^[01] //'; }

{
    if [ "${1:-}" = -only ]; then shift; else find tests -name 'test_*.sh'; fi
    [ $# -eq 0 ] || printf '%s\n' "$@"
} | order >"$logs/list"
# shellcheck disable=SC2016
xargs -P "$(nproc 2>/dev/null || echo 2)" -n 1 sh -c '
    log=$1/$(echo "$2" | tr / _)
    "$2" >"$log.log" 2>&1
    echo $? >"$log.status"
' run "$logs" <"$logs/list"

passed=0 failed=0
while IFS= read -r program; do
    log=$logs/$(echo "$program" | tr / _)
    status=$(cat "$log.status" 2>/dev/null || echo 127)
    # the programs' own counts: cmocka's "[  PASSED  ] n test(s)." or "n passed, m failed"
    ok=$(sed -n 's/^\[  PASSED  \] \([0-9]*\) test(s)\..*/\1/p; s/^\([0-9]*\) passed, [0-9]* failed.*/\1/p' "$log.log" | tail -n 1)
    bad=$(sed -n 's/^\[  FAILED  \] \([0-9]*\) test(s).*/\1/p; s/^[0-9]* passed, \([0-9]*\) failed.*/\1/p' "$log.log" | tail -n 1)
    if [ "$status" -ne 0 ]; then
        [ "${bad:-0}" -gt 0 ] || bad=1
        echo "FAIL $program (status $status)"
        cat "$log.log"
    else
        bad=0
        echo "ok   $program (${ok:-?})"
        [ "${V:-0}" = 0 ] || cat "$log.log"
    fi
    passed=$((passed + ${ok:-0}))
    failed=$((failed + bad))
done <"$logs/list"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
