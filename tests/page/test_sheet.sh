#!/bin/sh
# The inspection sheet without a browser: numbers, hostile names, sizes, same bytes.
cd "$(dirname "$0")/../.." || exit 2
: "${BUILD:=build}"
export SPANWRIGHT="${SPANWRIGHT:-$BUILD/spanwright}"
exec python3 tests/page/sheet_tests.py "$BUILD/page"
