#!/bin/bash
# Every way the command writes a file, against everything that can be in its way: the
# old content stays, nothing is left over, the exit status is 2 and one sentence says
# why. Last line: "N passed, M failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
: "${SPANWRIGHT:=build/spanwright}"
work=$(mktemp -d "${TMPDIR:-/tmp}/spw-writers.XXXXXX") || exit 2
trap 'chmod -R u+rwx "$work"; rm -rf "$work"' EXIT
chmod 755 "$work"
cp "$SPANWRIGHT" "$work/spanwright" || exit 2
cp captures/wren-claw.vcd captures/wren-claw.ini captures/wren-adapter.vcd "$work"
here=$PWD
cd "$work" || exit 2
export LC_ALL=C.UTF-8 TZ=UTC
passed=0 failed=0

# write WAY FILE [MORE OPTIONS...]: the ways a file is written; beside some of them the
# answer goes to standard output
write() {
    way=$1 file=$2
    shift 2
    case $way in
    measure) ./spanwright measure --quiet --json wren-claw.vcd -o "$file" "$@" ;;
    pulses) ./spanwright measure --quiet wren-claw.vcd --pulses "$file" "$@" ;;
    plan) ./spanwright plan --quiet --bench wren-claw.ini wren-claw.vcd -o "$file" "$@" ;;
    emit-c) ./spanwright plan --quiet --span 1000:2000 --emit-c "$file" "$@" ;;
    plan-pulses) ./spanwright plan --quiet wren-claw.vcd --json --pulses "$file" "$@" ;;
    verify) ./spanwright verify --quiet wren-adapter.vcd --before link --after servo --plan plan.json --output "$file" "$@" ;;
    sheet) ./spanwright sheet --quiet --bench wren-claw.ini wren-claw.vcd -o "$file" "$@" ;;
    bench) ./spanwright bench -o "$file" "$@" ;;
    esac
}
ways="measure pulses plan emit-c plan-pulses verify sheet bench"
./spanwright plan --quiet --bench wren-claw.ini wren-claw.vcd --json -o plan.json || exit 2

# judge WHAT: adds up the complaints gathered in $wrong
judge() {
    if [ -z "$wrong" ]; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        printf 'FAIL %s:%s\n' "$1" "$wrong"
    fi
    wrong=''
}
wrong=''
complain() { wrong="$wrong
    $*"; }
# expect STATUS WORDS: of the last run, kept in $status and the file stderr
expect() {
    [ "$status" -eq "$1" ] || complain "status $status, not $1"
    if [ -z "$2" ]; then
        [ -s stderr ] && complain "stderr: $(cat stderr)"
    else
        [ "$(wc -l <stderr)" -eq 1 ] || complain "not one line: $(cat stderr)"
        grep -q "^spanwright: .*$2" stderr || complain "no \"$2\" in: $(cat stderr)"
        LC_ALL=C grep -q '[[:cntrl:]]' stderr && complain "control characters in: $(cat -v stderr)"
    fi
}
# same FILE WAY: it is what a run that nothing was in the way of wrote; a sheet tells its
# own command line
same() {
    if [ "$2" = sheet ]; then
        grep -av 'spanwright sheet' "$1" | cmp -s - <(grep -av 'spanwright sheet' whole.sheet)
    else
        cmp -s "$1" "whole.$2"
    fi || complain "another content: $(printf %q "$1")"
}
# holds FOLDER NAMES...: exactly these are in it
holds() {
    folder=$1
    shift
    seen=$(ls -A "$folder")
    [ "$seen" = "$(printf '%s\n' "$@")" ] || complain "in $folder: $seen"
}
old() { [ "$(cat "$1" 2>&1)" = old ] || complain "$1 is not the old one"; }
fresh() {
    chmod -R u+rwx d 2>/dev/null
    rm -rf d && mkdir d
}

as=''
[ "$(id -u)" = 0 ] && as=setpriv
nobody() { # a run that is not root's: root may write anywhere
    if [ -z "$as" ]; then
        write "$@"
    else
        export -f write
        setpriv --reuid=65534 --regid=65534 --clear-groups bash -c 'write "$@"' nobody "$@"
    fi
}

for way in $ways; do
    write $way whole.$way >/dev/null || { echo "FAIL $way: status $?"; failed=$((failed + 1)); continue; }

    fresh; echo old >d/x
    write $way d/x >/dev/null 2>stderr; status=$?
    expect 2 "d/x exists: use --force"; old d/x; holds d x
    judge "$way, there already"

    write $way d/x --force >/dev/null 2>stderr; status=$?
    expect 0 ''; same "d/x" $way; holds d x
    judge "$way, --force"

    fresh; mkdir d/x
    write $way d/x --force >/dev/null 2>stderr; status=$?
    expect 2 "d/x is a folder"; holds d x
    judge "$way, a folder"

    fresh
    write $way d/none/x >/dev/null 2>stderr; status=$?
    expect 2 "cannot write d/none/x: No such file"
    holds d
    judge "$way, no folder"

    write $way /dev/null --force >/dev/null 2>stderr; status=$?
    expect 2 "/dev/null is no ordinary file"
    judge "$way, a device"

    fresh; echo old >d/x; chmod 644 d/x; chmod 555 d; chmod 755 .
    if [ -z "$as" ] || command -v setpriv >/dev/null; then
        mkdir -p -m 777 "$work/theirs"
        export GCOV_PREFIX="$work/theirs" # of a build for coverage, as below
        nobody $way d/x --force >/dev/null 2>stderr; status=$?
        expect 2 "cannot write d/x: Permission denied"; old d/x; holds d x
        nobody $way d/y >/dev/null 2>stderr; status=$?
        expect 2 "cannot write d/y: Permission denied"; holds d x
        judge "$way, a read-only folder"
        unset GCOV_PREFIX
    fi

    # a limit on the size of files is what a full disk is: writing stops in the middle
    fresh; echo old >d/x
    (export GCOV_PREFIX="$work/counters" # of a build for coverage: files, too
        ulimit -f 1; write $way d/x --force >/dev/null 2>"$work/stderr"); status=$?
    expect 2 "cannot write d/x: File too large"; old d/x; holds d x
    judge "$way, no room"

    fresh; echo old >d/real; ln -s real d/x; ln -s none d/y
    write $way d/x --force >/dev/null 2>stderr; status=$?
    expect 0 ''; same "d/real" $way
    [ -L d/x ] || complain "the link is gone"
    write $way d/y --force >/dev/null 2>stderr; status=$?
    expect 2 "d/y is a symbolic link to nothing"; holds d real x y
    judge "$way, a symbolic link"

    fresh; echo old >d/x
    write $way d/x --force >/dev/full 2>stderr; status=$?
    case $way in
    pulses | emit-c | plan-pulses)
        expect 2 "standard output: cannot write: No space left"; old d/x ;;
    *) # the answer is in the file, nothing is printed
        expect 0 ''; same "d/x" $way ;;
    esac
    holds d x
    judge "$way, standard output full"

    fresh
    write $way d/x 2>stderr | true; status=${PIPESTATUS[0]}
    expect 0 ''; same d/x $way; holds d x
    judge "$way, a closed pipe"

    # without standard input, output or error: none of their numbers is taken by a file
    fresh
    n=0
    for closed in '<&- >/dev/null' '2>&- >/dev/null' '<&- 2>&- >/dev/null' '>&-' '<&- >&-' '>&- 2>&-' '<&- >&- 2>&-'; do
        n=$((n + 1))
        eval "write $way d/x$n $closed" 2>/dev/null; status=$?
        case "$way $closed" in
        *'>/dev/null') wanted=0 ;;
        pulses* | emit-c* | plan-pulses*) wanted=2 ;; # nowhere to print to
        *) wanted=0 ;;
        esac
        [ $status -eq $wanted ] || complain "status $status with $closed"
        if [ $wanted -eq 0 ]; then same "d/x$n" $way; else [ ! -e d/x$n ] || complain "d/x$n is there with $closed"; fi
    done
    judge "$way, closed descriptors"

    # any bytes a name may have: blanks, a line's end, no UTF-8, dashes, 255 of them
    fresh
    long=$(printf 'n%.0s' $(seq 255))
    for name in 'two words' $'two\nlines' $'\xff\xfe' $'\e[31mred' '-x' '--' '%s%n' "$long"; do
        (cd d && ln -sf ../spanwright ../wren-* ../plan.json . && write $way "$name" >/dev/null) || complain "status $? for $name"
        same "d/$name" $way
        write $way "d/$name" >/dev/null 2>stderr; status=$?
        expect 2 'exists: use --force'
    done
    judge "$way, names"
done

cd "$here" || exit 2
echo "$passed passed, $failed failed"
[ $failed -eq 0 ]
