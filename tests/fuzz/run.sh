#!/bin/sh
# Runs fuzz targets, as many at once as there are processors (or AT_ONCE), and sums up.
#
#   tests/fuzz/run.sh BUILD SECONDS [TARGET...]      default: all of them
#
# BUILD/fuzz is the program (make fuzz). BUILD/corpus/TARGET grows from run to run;
# what breaks a promise is left in BUILD/findings, the logs in BUILD/log.
# Status 1: there are findings.
set -u
cd "$(dirname "$0")/../.." || exit 2
build=$1 seconds=$2
shift 2
[ $# -gt 0 ] || set -- chain edges table vcd audio packed recognise raw bench plan_json measure_json verify_json
mkdir -p "$build/log" "$build/findings"
export build seconds
export ASAN_OPTIONS="quarantine_size_mb=32:malloc_context_size=8:${ASAN_OPTIONS:-}"
export LSAN_OPTIONS="suppressions=tests/fuzz/leaks.supp:print_suppressions=0:${LSAN_OPTIONS:-}"
export UBSAN_OPTIONS="print_stacktrace=1:${UBSAN_OPTIONS:-}"

# shellcheck disable=SC2016
printf '%s\n' "$@" | xargs -P "${AT_ONCE:-$(nproc 2>/dev/null || echo 2)}" -n 1 sh -c '
    target=$1
    case $target in
    chain | packed | edges) longest=8192 words=$target ;;
    *_json) longest=16384 words=json ;;
    recognise) longest=2048 words=vcd ;;
    *) longest=4096 words=$target ;;
    esac
    mkdir -p "$build/corpus/$target"
    ln -f "$build/fuzz" "$build/fuzz_$target"
    set -- "$build/corpus/$target"
    for folder in "tests/fuzz/seeds/$target" "tests/fuzz/found/$target"; do
        [ ! -d "$folder" ] || set -- "$@" "$folder"
    done
    dict=tests/fuzz/dict/$words.dict
    "$build/fuzz_$target" -max_total_time="$seconds" -max_len="$longest" -timeout=20 -rss_limit_mb=1536 \
        -print_final_stats=1 -artifact_prefix="$build/findings/$target-" $([ ! -f "$dict" ] || echo "-dict=$dict") \
        "$@" >"$build/log/$target" 2>&1
    echo $? >"$build/log/$target.status"
' run

bad=0
printf '%-13s %11s %8s %7s %7s %7s  %s\n' target executions a_second edges features inputs verdict
for target in "$@"; do
    log=$build/log/$target
    runs=$(sed -n 's/^stat::number_of_executed_units: //p' "$log")
    rate=$(sed -n 's/^stat::average_exec_per_sec: *//p' "$log")
    # the last line of progress: "#N DONE cov: C ft: F corp: I/..."
    reached=$(sed -n 's/.* cov: \([0-9]*\) ft: \([0-9]*\) corp: \([0-9]*\).*/\1 \2 \3/p' "$log" | tail -n 1)
    verdict=clean
    if [ "$(cat "$log.status")" -ne 0 ]; then
        bad=1
        verdict="FINDING: $(grep -m1 -E 'broken promise|breach of|SUMMARY:|ERROR:|runtime error' "$log" | cut -c1-100)"
    fi
    # shellcheck disable=SC2086
    printf '%-13s %11s %8s %7s %7s %7s  %s\n' "$target" "${runs:-?}" "${rate:-?}" ${reached:-? ? ?} "$verdict"
done
[ $bad -eq 0 ] || echo "see $build/findings and $build/log"
exit $bad
