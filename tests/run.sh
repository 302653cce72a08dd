#!/bin/sh
# Runs every test program given, then every test script, and sums up.
# Output of a failing program is shown whole. Set V=1 to see all of it.
set -u
cd "$(dirname "$0")/.." || exit 2
: "${BUILD:=build}"
export BUILD
export SPANWRIGHT="$BUILD/spanwright"
passed=0 failed=0
log=$(mktemp "${TMPDIR:-/tmp}/spw-test.XXXXXX") || exit 2
trap 'rm -f "$log"' EXIT

count() { # the programs' own counts: cmocka's "[  PASSED  ] n test(s)." lines on stderr
    ok=$(sed -n 's/^\[  PASSED  \] \([0-9]*\) test(s)\..*/\1/p' "$log" | tail -n 1)
    bad=$(sed -n 's/^\[  FAILED  \] \([0-9]*\) test(s).*/\1/p' "$log" | tail -n 1)
    plain=$(sed -n 's/^\([0-9]*\) passed, \([0-9]*\) failed.*/\1 \2/p' "$log" | tail -n 1)
    if [ -n "$plain" ]; then
        ok=${plain% *} bad=${plain#* }
    fi
    passed=$((passed + ${ok:-0}))
    failed=$((failed + ${bad:-0}))
}

for program in "$@" $(find tests -name 'test_*.sh' | sort); do
    "$program" >"$log" 2>&1
    status=$?
    count
    if [ $status -ne 0 ]; then
        [ "${bad:-0}" -gt 0 ] 2>/dev/null || failed=$((failed + 1))
        echo "FAIL $program (status $status)"
        cat "$log"
    else
        echo "ok   $program (${ok:-?})"
        [ "${V:-0}" = 0 ] || cat "$log"
    fi
done
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
