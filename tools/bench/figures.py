"""What every script here prints of a line: its pulses, mean width and mean period."""


def show(name, rises_s, falls_s):
    falls_s = falls_s[falls_s > rises_s[0]]
    rises_s = rises_s[: len(falls_s)]
    width_us = (falls_s - rises_s).mean() * 1e6
    period_us = (rises_s[-1] - rises_s[0]) / (len(rises_s) - 1) * 1e6
    print(f"{name} {len(rises_s)} {width_us:.6f} {period_us:.6f}")
