#!/bin/sh
# Reads back from the built program and libraries what the hardening flags of the
# Makefile promise. HARDENED=no: built without them on purpose (sanitizers, coverage).
set -u
export LC_ALL=C
cd "$(dirname "$0")/../.." || exit 2
: "${BUILD:=build}" "${SPANWRIGHT:=$BUILD/spanwright}"
work=$(mktemp -d "${TMPDIR:-/tmp}/spw-hardening.XXXXXX") || exit 2
trap 'rm -rf "$work"' EXIT
passed=0 failed=0
if [ "${HARDENED:-yes}" = no ]; then
    echo "built without hardening: nothing to look at"
    echo "0 passed, 0 failed"
    exit 0
fi
# check WHAT COMMAND...: the command succeeds
check() {
    what=$1
    shift
    if "$@" >"$work/said" 2>&1; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAIL $what"
    fi
}
has() { grep -Eq -- "$1" "$2"; }
lacks() { ! has "$1" "$2"; }

# The linker's part, of what is run or loaded.
linked() { # FILE
    readelf -lW "$1" >"$work/segments"
    readelf -dW "$1" >"$work/dynamic"
    check "$1: stack not executable" has 'GNU_STACK .* RW +0x' "$work/segments"
    check "$1: no segment both writable and executable" lacks 'LOAD .* RWE ' "$work/segments"
    check "$1: relocations made read-only" has 'GNU_RELRO' "$work/segments"
    check "$1: all of them, before the start" has 'BIND_NOW|FLAGS_1.* NOW' "$work/dynamic"
    check "$1: no code relocated" lacks 'TEXTREL' "$work/dynamic"
    check "$1: looks nowhere of its own for libraries" lacks 'RPATH|RUNPATH' "$work/dynamic"
}
linked "$SPANWRIGHT"
check "$SPANWRIGHT: position independent" has 'FLAGS_1.* PIE' "$work/dynamic"
[ ! -f "$BUILD/libspanwright.so.0" ] || linked "$BUILD/libspanwright.so.0"

# The compiler's part.
symbols=$work/symbols
readelf --dyn-syms -W "$SPANWRIGHT" >"$symbols"
check "stack protector" has ' __stack_chk_fail(@| |$)' "$symbols"
check "checked copies (_FORTIFY_SOURCE)" has ' __(memcpy|snprintf|vsnprintf|fread|fprintf)_chk' "$symbols"

# What every object says of itself: its switches in the debugging entries, and on
# x86 in a note (the linker drops it when the C library's own start has none).
readelf --debug-dump=info "$SPANWRIGHT" 2>/dev/null | grep 'DW_AT_producer.*GNU C' >"$work/producers"
every() { [ -s "$work/producers" ] && ! grep -v -e "$1" "$work/producers" >/dev/null; }
if [ -s "$work/producers" ]; then
    check "every file with the stack protector" every -fstack-protector-strong
    case $(uname -m) in
    x86_64 | aarch64) check "every file with stack clash protection" every -fstack-clash-protection ;;
    esac
fi
if [ "$(uname -m)" = x86_64 ]; then
    readelf -nW "$BUILD/libspanwright.a" >"$work/notes" 2>&1
    members=$(ar t "$BUILD/libspanwright.a" | wc -l)
    marked=$(grep -c 'x86 feature: IBT, SHSTK' "$work/notes")
    check "control flow protection in $marked of $members objects" [ "$marked" -eq "$members" ]
fi
echo "$passed passed, $failed failed"
[ $failed -eq 0 ]
