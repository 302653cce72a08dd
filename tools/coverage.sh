#!/bin/sh
# What the tests of a build for coverage have run of src/.
#
#   tools/coverage.sh FOLDER LINES BRANCHES     the least share of each, in percent
#
# Branches that no source line has (the compiler's own) are left out, and so are lines
# that hold no code; nothing else is. A page for each file is in FOLDER/report.
set -u
cd "$(dirname "$0")/.." || exit 2
mkdir -p "$1/report" || exit 2
gcovr --root . --filter src/ --exclude-unreachable-branches --exclude-throw-branches -j "$(nproc)" \
    --csv "$1/coverage.csv" --html-details "$1/report/index.html" --print-summary \
    --fail-under-line "$2" --fail-under-branch "$3" "$1/obj/src" >"$1/coverage.txt" 2>"$1/coverage.said"
status=$?
[ -s "$1/coverage.csv" ] || { cat "$1/coverage.said"; exit 2; }
echo "least covered (lines and branches not run):"
# filename,line_total,line_covered,line_percent,branch_total,branch_covered,branch_percent,...
tail -n +2 "$1/coverage.csv" | awk -F, '
    { print $2 - $3 + $5 - $6, $2 - $3 " of " $2 " lines, " $5 - $6 " of " $5 " branches: " $1 }' |
    sort -rn | head -n 15 | sed 's/^[0-9]* /  /'
grep -E '^(lines|branches):' "$1/coverage.txt"
[ $status -eq 0 ] || echo "coverage: below $2 % of the lines or $3 % of the branches"
echo "coverage: what is not run is marked in $1/report/index.html"
exit $status
