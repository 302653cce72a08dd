#!/bin/bash
# What `make install` lays down can be used: by the command, and by a program that knows
# pkg-config only; each header stands alone in C and in C++.
set -u
cd "$(dirname "$0")/../.." || exit 2
work=$(mktemp -d "${TMPDIR:-/tmp}/spw-install.XXXXXX") || exit 2
trap 'rm -rf "$work"' EXIT
passed=0 failed=0
check() { # WHAT COMMAND...
    if "${@:2}" >"$work/said" 2>&1 && [ ! -s "$work/said" ]; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAIL $1"
        cat "$work/said"
    fi
}
unset MAKEFLAGS MAKELEVEL MFLAGS
make -s install DESTDIR="$work/dest" PREFIX=/usr BUILD="${BUILD:-build}" >"$work/said" 2>&1 || cat "$work/said"
lib=$work/dest/usr/lib
export PKG_CONFIG_SYSROOT_DIR=$work/dest PKG_CONFIG_PATH=$lib/pkgconfig
for header in "$work"/dest/usr/include/spanwright/*.h; do
    name=$(basename "$header")
    echo "#include <spanwright/$name>" >"$work/alone.c"
    cp "$work/alone.c" "$work/alone.cc"
    check "$name in C" cc -std=c17 -Wall -Wextra -fsyntax-only -I"$work/dest/usr/include" "$work/alone.c"
    ! command -v c++ >/dev/null ||
        check "$name in C++" c++ -Wall -Wextra -fsyntax-only -I"$work/dest/usr/include" "$work/alone.cc"
done
cat >"$work/use.c" <<'C'
#include <spanwright/spanwright.h>
int main(void) {
    spw_span span;
    return spw_span_given(1000, 1500, 2000, &span) == SPW_OK && span.high.us == 2000 ? 0 : 1;
}
C
flags=$(pkg-config --cflags --libs spanwright)
archive="$(pkg-config --cflags spanwright) $lib/libspanwright.a"
others="$(sed -n 's/^Requires.private: //p' "$lib/pkgconfig/spanwright.pc")"
unset PKG_CONFIG_SYSROOT_DIR
# Libraries built for a sanitizer or with counters link into programs built so only.
# shellcheck disable=SC2086
ldd "$work/dest/usr/bin/spanwright" | grep -q 'libasan\|libtsan' ||
    nm "$work/dest/usr/bin/spanwright" | grep -q __gcov_ || {
    check "link, shared" cc "$work/use.c" $flags -o "$work/shared"
    check "run, shared" env LD_LIBRARY_PATH="$lib" "$work/shared"
    check "link, static" cc "$work/use.c" $archive $(pkg-config --libs $others) -lm -lpthread -o "$work/static"
    check "run, static" "$work/static"
}
check "installed command" sh -c "'$work/dest/usr/bin/spanwright' --version | grep -vq '^spanwright '; test \$? = 1"
echo "$passed passed, $failed failed"
[ $failed -eq 0 ]
