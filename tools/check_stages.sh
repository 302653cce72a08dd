#!/bin/sh
# The data flow is one direction: a stage includes public headers and private
# headers of itself and of the stages before it, never of one after it; cli/
# includes public headers and its own only. A room (a folder in a stage) is entered
# by the header that bears its name (report/draw/draw.h): its other headers are
# included in the room only.
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

# room PATH: "stage/room" of stage/room/file, nothing of stage/file
room() { expr "$1" : '\([^/]*/[^/]*\)/' || true; }

for file in $(find src -name '*.[ch]' | sort); do
    inside=${file#src/}
    stage=${inside%%/*}
    here=$(room "$inside")
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
        there=$(room "$included")
        case $included in spanwright/*) there= ;; esac
        if [ -n "$there" ] && [ "$there" != "$here" ] && [ "$included" != "$there/${there#*/}.h" ]; then
            echo "$file: includes $included, a header of the room $there alone"
            bad=1
        fi
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
exit $bad
