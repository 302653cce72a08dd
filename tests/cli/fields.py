#!/usr/bin/env python3
"""Checks the fields of an answer in JSON (standard input) against the list
that its schema promises. A field that goes, comes or changes place is told:
fields may be added, here and in the documentation, never renamed.
A name with "?" may be left out.
Argument: the schema expected."""
import json
import sys

SUMMARY = "n mean sd min max median p05 p95 u U95 floor".split()
RANGE = ["low", "high"]
BUDGET = "scatter effective_frames wander sampling timebase edge_shape rise_fall".split()
DEG = "travel jitter step".split()
EFFECT = [
    "low_us", "low_U95_us", "high_us", "high_U95_us", "neutral_us", ("jitter_rms_us", RANGE),
    "step_us", "positions", "hunt_probability", ("hunt_probability_range", RANGE), "hunts",
    ("servo_deg", DEG), ("joint_deg", DEG), "creep_rpm", "shortest_gap_us",
    ("latency_ms", ["typical", "worst"]),
]
DOUBT = [["what", "from_s", "to_s", "bound_us"]]
LEVEL_DOUBTS = [("low_doubt", DOUBT), ("high_doubt", DOUBT), ("neutral_doubt", DOUBT),
                "holds_left_out"]
END = "deviation_us U95 probability_meets frames_needed resolution_needed_us".split() + [
    ("doubt", DOUBT)]
SPAN = ["low", "low_U95", "high", "high_U95", "neutral", "neutral_U95", "basis"] + LEVEL_DOUBTS
TOOL = ("tool", ["name", "version"])
CHANNEL = [
    "name", "kind", "resolution_us", ("doubt", DOUBT), "signal", "reason", "polarity", "polarity_basis",
    ("other_reading", ["width_us", "period_us"]), "pulses", ("period_us", SUMMARY),
    "frame_rate_hz",
    ("period_jitter_us", ["peak_to_peak", "cycle_to_cycle_rms", "cycle_to_cycle_peak"]),
    ("width_us", SUMMARY), ("width_robust_us", ["median", "sd"]), "lead_jitter_us",
    "trail_jitter_us",
    ("odd_pulses", ["pulses", "places", "longest_run", "first_s", "last_s", "every_s", "evenly",
                    ("width_us", RANGE), "farthest_us", "instead_of_us", "jitter_without_us",
                    "jitter_with_us"]),
    ("holds", [["start_s", "end_s", "pulses", ("width_us", SUMMARY), "drift_us_per_s",
                ("budget_us", BUDGET), "wander_us", "odd_pulses", "sd_with_odd_us",
                "in_doubt", "doubt_bound_us", ("doubt", DOUBT)]]),
    ("moves", [["start_s", "end_s", "pulses", "from_us", "to_us", "slope_us_per_s",
                "u_slope_us_per_s", "sd_us"]]),
    ("span_us", SPAN),
    ("controller_step_us", ["value", "u"]),
    ("width_line", ["frequency_hz", "amplitude_us", "p_value"]),
    "clock_drift_ppm_per_s", ("regimes", [["start_s", "end_s", "frames", "period_us", "judged", ("span_us", SPAN)]]),
    ("events", [["kind", "at_s", "count", "value_us", "evidence"]]), "events_not_listed",
    ("after_last_frame", ["level", "for_s"]), ("levels", ["low", "high", "unit"]),
    ("edge_timing", ["method", "edges", "noise_rms", "droop_corner_hz", "hum_hz",
                     "clipped_samples", "missing_samples"]),
    "warnings",
]
SCHEMAS = {
    "spanwright.measure/1": [
        "schema", TOOL,
        ("captures", [["file", "digest_sha256", "format", "recognised", "duration_s", "from_s", "to_s", "truncated",
                       "timebase_ppm", "clock_correction", "warnings", ("channels", [CHANNEL])]]),
    ],
    "spanwright.plan/1": [
        "schema", TOOL,
        ("captures", [["file", "digest_sha256", "channel", "timebase_ppm", "truncated",
                       "warnings"]]),
        ("controller_us", ["low", "low_U95", "high", "high_U95", "neutral", "neutral_U95",
                           "jitter_rms", "step", "basis"] + LEVEL_DOUBTS + ["line"]),
        ("servo", ["name", ("expected_us", RANGE), "tolerance_us", "dead_band_us", "mode",
                   "travel_deg"]),
        ("ends", RANGE), ("ends_us", [("low", END), ("high", END)]), ("allowed_us", RANGE), "beyond_by",
        "range_covered_percent",
        ("clock", ["verdict", "width_ratio", "period_ratio", "correction"]), "decision",
        ("advice", [["do", "why"]]), ("adapter", ["tick_us", "word_bits", "gap_us", "clock_ppm"]),
        ("remap", ["kind", "gain", "offset_us", ("clamp_us", RANGE), "neutral_in_us",
                   "neutral_out_us", "neutral_error_us",
                   ("segments", [["from_us", "to_us", "gain", "offset_us"]])]),
        ("fixed_point", ["tick_us", "word_bits", ("clamp_in_ticks", RANGE),
                         ("segments", [["from_ticks", "to_ticks", "multiplier", "shift",
                                        "addend", "out_less_ticks?", "by_bytes?",
                                        "in_offset_ticks?", "out_offset_ticks?",
                                        "whole?"]]),
                         ("clamp_out_ticks", RANGE), "worst_error_ticks", "worst_error_us",
                         "inputs_checked", "widest_product_bits"]),
        ("before", EFFECT), ("after", EFFECT),
        ("joint", ["needed_deg", "reached_before", "reached_after", "reduction_that_would_do",
                   "beyond_allowed"]),
        "cautions", "recipe",
    ],
}
wrong = []


def check(value, fields, where):
    if value is None:
        return
    if isinstance(fields[0], list):
        for i, item in enumerate(value):
            check(item, fields[0], "%s[%d]" % (where, i))
        return
    names = [f if isinstance(f, str) else f[0] for f in fields]
    names = [n.rstrip("?") for n in names if n[-1] != "?" or n[:-1] in value]
    if list(value) != names:
        wrong.append("%s: %s, not %s" % (where, list(value), names))
        return
    for f in fields:
        if not isinstance(f, str):
            check(value[f[0]], f[1], where + "." + f[0])


def no_constant(text):
    wrong.append("not JSON: %s" % text)


document = json.load(sys.stdin, parse_constant=no_constant)
if document["schema"] != sys.argv[1]:
    wrong.append("schema %s" % document["schema"])
else:
    check(document, SCHEMAS[sys.argv[1]], "answer")
print("\n".join(wrong) or "fields as promised")
sys.exit(1 if wrong else 0)
