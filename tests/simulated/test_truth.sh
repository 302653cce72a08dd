#!/bin/sh
# A few captures of every kind of `make truth`, within its limits.
set -u
cd "$(dirname "$0")/../.." || exit 2
: "${BUILD:=build}" "${SPANWRIGHT:=$BUILD/spanwright}"
if "$BUILD/tools/truth" --program "$SPANWRIGHT" --captures 12; then
    echo "1 passed, 0 failed"
else
    echo "0 passed, 1 failed"
    exit 1
fi
