#!/bin/sh
# What the shared library exports is what its headers declare, no more and no less.
set -u
cd "$(dirname "$0")/../.." || exit 2
: "${BUILD:=build}"
passed=0 failed=0
check() {
    if [ -z "$2" ]; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        printf 'FAIL %s:\n%s\n' "$1" "$2"
    fi
}
work=$(mktemp -d "${TMPDIR:-/tmp}/spw-exports.XXXXXX") || exit 2
trap 'rm -rf "$work"' EXIT

make --no-print-directory -s BUILD="$BUILD" "$BUILD/libspanwright.so.0" >"$work/make" 2>&1 ||
    check "the shared library is built" "$(cat "$work/make")"
nm -D --defined-only "$BUILD/libspanwright.so.0" | awk '{ print $3 }' | sort -u >"$work/exported"
# Functions that the headers declare: the compiler's own list of what it was told.
for header in include/spanwright/*.h; do
    ${CC:-cc} -std=c17 -Iinclude -E -P "$header"
done | tr '\n' ' ' | tr ';{}' '\n\n\n' | grep -v 'typedef\|static inline' |
    sed -n 's/.*[ *]\(spw_[a-z0-9_]*\) *([^*].*/\1/p' | sort -u >"$work/declared"
check "exported, in no header" "$(comm -23 "$work/exported" "$work/declared")"
check "in a header, not exported" "$(comm -13 "$work/exported" "$work/declared")"
check "the list is not empty" "$([ -s "$work/exported" ] || echo empty)"
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
