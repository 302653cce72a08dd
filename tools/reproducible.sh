#!/bin/sh
# Builds copies of the sources in two folders, under other conditions, and compares the
# program and the libraries byte by byte. Argument: where to work.
set -eu
cd "$(dirname "$0")/.."
work=$1
rm -rf "$work"
mkdir -p "$work/one" "$work/another/folder further down"
one=$(realpath "$work/one") two=$(realpath "$work/another/folder further down")
unset MAKEFLAGS MAKELEVEL MFLAGS
what='spanwright libspanwright.a libspanwright.so.0'
build() { # FOLDER JOBS, the rest of the conditions in the environment
    cp -R Makefile include src tools "$1/"
    touch "$1"/src/*/*.c
    # shellcheck disable=SC2046
    make -s -C "$1" "-j$2" $(printf 'build/%s ' $what)
}
(umask 022; LC_ALL=C TZ=UTC build "$one" 2)
(umask 077; LC_ALL=C.UTF-8 TZ=Pacific/Auckland HOME=/ build "$two" 3)
bad=0
for file in $what; do
    if cmp "$one/build/$file" "$two/build/$file"; then
        (cd "$one/build" && sha256sum "$file")
    else
        bad=1
    fi
done
[ $bad -eq 0 ] && echo "reproducible: the same bytes from two folders"
exit $bad
