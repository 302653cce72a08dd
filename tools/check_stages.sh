#!/bin/sh
# The data flow is one direction: a stage includes public headers and private
# headers of itself and of the stages before it, never of one after it; cli/
# includes public headers and its own only. File names are unique.
set -u
cd "$(dirname "$0")/.." || exit 2
stages='base bench stats capture edges pulses span adapter report'
bad=0

# rank STAGE: its place in the flow
rank() {
    n=0
    for s in $stages; do
        n=$((n + 1))
        [ "$s" = "$1" ] && { echo $n; return; }
    done
    echo 0
}

for file in $(find src -name '*.[ch]' | sort); do
    stage=${file#src/}
    stage=${stage%%/*}
    for included in $(sed -n 's/^[[:space:]]*#[[:space:]]*include[[:space:]]*"\([^"]*\)".*/\1/p' "$file"); do
        case $included in
        spanwright/spanwright.h) [ "$stage" = cli ] && continue ;;
        spanwright/*)
            [ "$stage" = cli ] && continue
            of=${included#spanwright/}
            of=${of%.h}
            ;;
        */*) of=${included%%/*} ;;
        *)
            echo "$file: \"$included\": name the stage (\"stage/file.h\")"
            bad=1
            continue
            ;;
        esac
        if [ "$stage" = cli ]; then
            [ "$of" = cli ] && continue
            echo "$file: includes $included, but cli/ sees public headers only"
            bad=1
        elif [ "$(rank "$of")" -eq 0 ] || [ "$(rank "$of")" -gt "$(rank "$stage")" ]; then
            echo "$file: includes $included of a later stage"
            bad=1
        fi
    done
done
twice=$(find src -name '*.c' -exec basename {} \; | sort | uniq -d)
[ -z "$twice" ] || { echo "file names used twice in src: $twice"; bad=1; }
exit $bad
