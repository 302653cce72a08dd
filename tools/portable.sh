#!/bin/sh
# Builds with other compilers and for another kind of processor, and prints what passed:
#   clang, with everything it chooses when the program starts: links, and gives the bytes that
#          gcc's program gives
#   armhf  32 bits, by a cross compiler: every source of the library and the program compiles
#          without a warning
# Arguments: a folder to build in; the program to compare with.
set -u
cd "$(dirname "$0")/.." || exit 2
work=$1 program=$2
mkdir -p "$work" || exit 2
bad=0
say() {
    printf 'portable: %-6s %s\n' "$1" "$2"
}

if make --no-print-directory -s CC=clang BUILD="$work/clang" \
    "$work/clang/spanwright" "$work/clang/libspanwright.so.0" >"$work/clang.log" 2>&1; then
    same=yes
    for capture in captures/*.wav captures/*.vcd captures/*.csv; do
        "$program" measure --quiet --json "$capture" >"$work/one"
        "$work/clang/spanwright" measure --quiet --json "$capture" >"$work/two"
        cmp -s "$work/one" "$work/two" || same="differs on $capture"
    done
    if [ "$same" = yes ]; then
        say clang "builds, links, gives the same bytes"
    else
        say clang "$same"
        bad=1
    fi
else
    say clang "does not build"
    grep -m 5 -e error -e undefined "$work/clang.log"
    bad=1
fi

# The libraries' headers are those of this machine: they do not depend on the processor.
# shellcheck disable=SC2016
if printf '%s\n' src/*/*.c | xargs -P "$(nproc)" -n 4 sh -c '
    for f in "$@"; do
        arm-linux-gnueabihf-gcc -std=c17 -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -O1 -Wall -Wextra -Wconversion \
            -Wshadow -Werror -Iinclude -Isrc -idirafter /usr/include -c -o /dev/null "$f" || exit 255
    done' portable >"$work/armhf.log" 2>&1; then
    say armhf "compiles without a warning"
else
    say armhf "does not compile"
    grep -m 5 error "$work/armhf.log"
    bad=1
fi
exit $bad
