#!/bin/bash
# The same bytes whatever surrounds the command: locale, time zone, working folder, an
# empty environment; and captures whose path has blanks, a line's end or bytes that are no
# UTF-8. Last line: "N passed, M failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
: "${SPANWRIGHT:=build/spanwright}"
program=$(realpath "$SPANWRIGHT") || exit 2
work=$(mktemp -d "${TMPDIR:-/tmp}/spw-environment.XXXXXX") || exit 2
trap 'rm -rf "$work"' EXIT
unset SOURCE_DATE_EPOCH NO_COLOR
mkdir "$work/a" "$work/locales" "$work/else where"
cp captures/wren-* "$work/a"
printf '[servo]\ntravel_deg = 180,5\n' >"$work/a/comma.ini"
printf 'time;claw\n0,5;1\nx;y\n' >"$work/a/broken.csv"
ln -s "$work/a/"* "$work/else where"
cd "$work/a" || exit 2
passed=0 failed=0
"$program" plan --quiet --bench wren-claw.ini wren-claw.vcd --json -o plan.json || exit 2
ln -s "$work/a/plan.json" "$work/else where"

setting=()
run() { env "${setting[@]}" "$program" "$@"; }
# everything DIRECTORY: all answers, and what they say when something is wrong
everything() {
    run measure --json wren-claw.vcd --pulses "$1/pulses" --force
    run measure wren-lid.csv wren-claw.vcd --digest
    run measure --rate 2000000 wren-roller.raw.gz --jobs 2
    run plan --bench wren-claw.ini wren-claw.vcd
    run plan --span 1000.5:1999.5 --json --emit-c "$1/header" --force
    run verify wren-adapter.vcd --before link --after servo --plan plan.json
    run verify wren-adapter.vcd --before link --after servo --plan plan.json --json
    run sheet --bench wren-claw.ini wren-claw.vcd -o "$1/sheet" --force
    run bench
    run plan --help
    run plan --bench comma.ini --span 1000:2000
    run plan --span 1000,5:2000
    run measure broken.csv
    run measure none.vcd
    run mesure
    cat "$1/pulses" "$1/header"
    sed 's/ -o [^ ]*//' "$1/sheet" # its own command line
}

everything "$work" >plain 2>&1
[ "$(wc -c <plain)" -gt 50000 ] || { echo "FAIL: only $(wc -c <plain) bytes of answers"; failed=1; }
# same WHAT FILE
same() {
    if cmp "$work/a/plain" "$2"; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAIL $1"
        diff "$work/a/plain" "$2" | head -n 6
    fi
}

# made here: no system-wide installation, no root
for locale in de_DE tr_TR fa_IR; do
    if command -v localedef >/dev/null && localedef -i $locale -f UTF-8 "$work/locales/$locale.UTF-8" >/dev/null 2>&1; then
        setting=("LOCPATH=$work/locales" "LC_ALL=$locale.UTF-8" "LANGUAGE=${locale%_*}")
        everything "$work" >got 2>&1
        same "LC_ALL=$locale.UTF-8" got
    else
        echo "skip LC_ALL=$locale.UTF-8: it cannot be made here"
    fi
done
for change in LC_ALL=C 'LC_ALL=no_such TZ=:none' 'TZ=Asia/Kathmandu COLUMNS=20 TERM=xterm' \
    'TMPDIR=/none HOME=/none MALLOC_PERTURB_=165' -i; do
    # shellcheck disable=SC2206
    setting=($change)
    everything "$work" >got 2>&1
    same "${change/#-i/an empty environment}" got
done
setting=()
cd "$work/else where" || exit 2
everything "$work" >"$work/got" 2>&1
same "another folder" "$work/got"

# captures by any name: the same answer but for the name, which is safe to show
cd "$work/a" || exit 2
"$program" measure --json --quiet wren-claw.vcd | sed '/"file"/d' >plain
for name in 'two words.vcd' $'two\nlines.vcd' $'\xff\xfe.vcd' $'\e[31mred\e[0m' $'\u202ereversed' ./-x '%s%n.vcd'; do
    cp wren-claw.vcd "$name"
    "$program" measure --json --quiet "$name" >whole 2>&1
    sed '/"file"/d' whole >got
    same "capture $(printf %q "$name")" got
    {
        cat whole
        "$program" measure "$name"
        "$program" measure "$name/none"
        "$program" measure "none$name"
        "$program" plan "$name" --json --channel none
        "$program" sheet "$name" -o out --force && cat out
        "$program" plan --bench "none$name" --span 1000:2000
        "$program" verify "$name" --before none --after none
        "$program" measure "$name" -o "$name"
        "$program" measure wren-claw.vcd -o "none$name/x"
        "$program" plan --span 1000:2000 --emit-c none/"$name"
    } >said 2>&1
    if LC_ALL=C.UTF-8 grep -aqP '[\x00-\x08\x0b-\x1f\x7f-\x{9f}\x{202a}-\x{202e}\x{2066}-\x{2069}]' said || ! iconv -f UTF-8 -t UTF-8 said >/dev/null 2>&1; then
        failed=$((failed + 1))
        echo "FAIL raw bytes of the name $(printf %q "$name"):"
        grep -anP '[\x00-\x08\x0b-\x1f\x7f]|[^\x00-\x7f]' said | head -n 5 | cat -v
    else
        passed=$((passed + 1))
    fi
done
echo "$passed passed, $failed failed"
[ $failed -eq 0 ]
