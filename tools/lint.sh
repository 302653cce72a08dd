#!/bin/sh
# Format, stage order, static checks. Arguments: the compiler flags of the build.
set -u
cd "$(dirname "$0")/.." || exit 2
bad=0
say() { echo "lint: $*"; }

files=$(find include src tools tests -name '*.[ch]' -not -path '*/data/*' | sort)
say "format"
# shellcheck disable=SC2086
clang-format --dry-run -Werror $files || bad=1

say "stage order"
tools/check_stages.sh || bad=1

say "clang and gcc warnings as errors"
sources=$(find src tools tests -name '*.c' -not -path '*/data/*' | sort)
for compiler in gcc clang; do
    # shellcheck disable=SC2016
    printf '%s\n' $sources | xargs -P "$(nproc)" -n 8 sh -c '
        compiler=$1; flags=$2; shift 2
        for f in "$@"; do $compiler $flags -Itools -Itests -Werror -fsyntax-only "$f" || exit 255; done
    ' lint "$compiler" "$*" || bad=1
done

say "cppcheck"
cppcheck --quiet --std=c11 --enable=warning,performance,portability --error-exitcode=1 \
    --inline-suppr --suppress=missingIncludeSystem -j "$(nproc)" -Iinclude -Isrc -Itools src tools || bad=1

say "clang-tidy"
printf '%s\n' $(find src -name '*.c' | sort) |
    xargs -P "$(nproc)" -n 4 sh -c 'flags=$1; shift; clang-tidy --quiet "$@" -- $flags 2>/dev/null' lint "$*" || bad=1
[ $bad -eq 0 ] && say "clean"
exit $bad
