#!/bin/sh
# gcc's static analyser over src/. Arguments: the compiler flags of the build.
#
# Functions that exist twice are analysed as one (SPW_NARROW): of a pair the analyser sees no
# body and takes what it fills for uninitialised.
#
# What it finds and is wrong about is listed here, a line each, with the reason; anything
# else fails. An entry that is no longer found is told, so that it goes.
set -u
cd "$(dirname "$0")/.." || exit 2

accepted() {
    cat <<'END'
# FILE FUNCTION KIND
# A sentence is owned by the plan, through a pointer into it; the analyser (gcc 12) forgets what
# an array behind a caller's pointer holds as soon as a counter beside it is written.
src/adapter/sentences.c spw_planner_caution malloc-leak
src/adapter/sentences.c spw_planner_recipe malloc-leak
# The columns belong to the layout, which the caller frees by spw_table_layout_free whatever the
# status; the analyser loses them as above, when a second allocation has failed.
src/capture/table/layout.c spw_table_find_layout malloc-leak
# Pairs belong to the verification, whose owner frees it whatever the status; lost as above.
src/adapter/verify/pairs.c pair_up malloc-leak
# make_names gives SPW_OK with both names made; its refusals come from spw_error_set, of which the
# analyser, a file at a time, does not know that it returns the status it is given.
src/base/outfile.c open_unnamed null-dereference
# Each lane of a vector of 32 bits is shifted by 16; the analyser takes the number of lanes, or of
# bytes, for the width.
src/capture/sound/split.c codes_of shift-count-overflow
END
}
work=$(mktemp -d "${TMPDIR:-/tmp}/spw-analyze.XXXXXX") || exit 2
trap 'rm -rf "$work"' EXIT
# shellcheck disable=SC2016
find src -name '*.c' | sort | xargs -P "$(nproc 2>/dev/null || echo 2)" -n 1 sh -c '
    gcc $1 -DSPW_NARROW -fanalyzer -c -o /dev/null "$3" 2>"$2/$(echo "$3" | tr / _).log" || touch "$2/broken"' \
    analyze "$*" "$work"
cat "$work"/*.log >"$work/all"
[ ! -e "$work/broken" ] || { grep -m 5 'error:' "$work/all"; echo "analyze: does not compile"; exit 1; }

# "FILE FUNCTION KIND" of each finding: the function is named on the line before.
LC_ALL=C awk -F "[:‘’']+" '
    match($0, /(^|: )In function ‘[^’]*’/) { split(substr($0, RSTART), word, "[‘’]+"); name = word[2] }
    match($0, /\[-W[a-z-]*\]/) { kind = substr($0, RSTART + 3, RLENGTH - 4); sub("analyzer-", "", kind); print $1, name, kind }
' "$work/all" | sort -u >"$work/found"
accepted | grep -v '^#' | sort >"$work/accepted"
comm -23 "$work/found" "$work/accepted" >"$work/new"
comm -13 "$work/found" "$work/accepted" | sed 's/^/analyze: no longer found, take it off the list: /'
if [ -s "$work/new" ]; then
    while read -r file name kind; do
        echo "analyze: $file: $name: $kind"
        cat "$work/$(echo "$file" | tr / _).log"
    done <"$work/new"
    exit 1
fi
echo "analyze: clean ($(find src -name '*.c' | wc -l) files; $(wc -l <"$work/found") findings explained in tools/analyze.sh)"
