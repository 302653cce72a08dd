"""Do all who measured the same capture find the same?"""
import json
import os


def figures_of_measure(text):
    """Name: (pulses, mean width, mean period) of each line with control pulses."""
    return {channel["name"].split(".")[-1]:
            (channel["pulses"], channel["width_us"]["mean"], channel["period_us"]["mean"])
            for channel in json.loads(text)["captures"][0]["channels"]
            if channel["signal"] == "control_pulses"}


def figures_of_script(text):
    rows = [line.split() for line in text.splitlines()]
    return {name: (int(n), float(width), float(period)) for name, n, width, period in rows}


def disagreements(work, ours, other, theirs):
    """Sentences on what differs. Logic: the instants are the same, so that figures
    agree to the last of the six decimals that a script prints. Analogue: straight
    lines between samples and fitted edges cross within the same sample, so that a
    mean period differs by at most a sample over all frames, and a mean width, whose
    frames fall anywhere between samples, by half a sample."""
    if len(ours) == 1 and list(theirs) == ["line"]: # the script knows no names
        theirs = dict(zip(ours, theirs.values()))
    if ours.keys() != theirs.keys() or not ours:
        return [f"{work.name}: lines {sorted(ours)} against {sorted(theirs)} of {other}"]
    bad = []
    for name, (pulses, width, period) in ours.items():
        n, other_width, other_period = theirs[name]
        width_limit = work.sample_us / 2 if work.sample_us else 1e-6
        period_limit = work.sample_us / max(pulses - 1, 1) if work.sample_us else 1e-6
        agree = abs(width - other_width) <= width_limit and abs(period - other_period) <= period_limit
        if n != pulses or not agree: # NaN never agrees
            bad.append(f"{work.name}, {name}: {pulses} pulses, {width:.6f} us, {period:.6f} us against "
                       f"{n}, {other_width:.6f} us, {other_period:.6f} us of {other}")
    return bad


def compare(results):
    """How many other answers there are, and what disagrees; a capture packed has to
    give the very figures of the capture."""
    answers = {r.work.file: figures_of_measure(r.answer["measure"]) for r in results}
    compared, bad = 0, []
    for r in results:
        ours = answers[r.work.file]
        for other in r.work.against:
            if other.answers:
                compared += 1
                bad += disagreements(r.work, ours, other.name, figures_of_script(r.answer[other.name]))
        plain = answers.get(os.path.splitext(r.work.file)[0])
        if plain is not None:
            compared += 1
            bad += [] if plain == ours else [f"{r.work.name}: not the figures of the capture unpacked"]
    return compared, bad
