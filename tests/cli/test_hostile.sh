#!/bin/bash
# Hostile names in every kind of output: see hostile.py. Last line: "N passed, M failed".
set -u
cd "$(dirname "$0")/../.." || exit 2
work=$(mktemp -d "${TMPDIR:-/tmp}/spw-hostile.XXXXXX") || exit 2
trap 'rm -rf "$work"' EXIT
python3 tests/cli/hostile.py "${SPANWRIGHT:-build/spanwright}" "$work"
