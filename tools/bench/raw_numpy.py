"""Pulses of each bit of a raw dump, a byte a sample: raw_numpy.py FILE RATE"""
import sys

import numpy as np
from figures import show

samples = np.memmap(sys.argv[1], dtype=np.uint8, mode="r")
rate = float(sys.argv[2])
changed = np.flatnonzero(samples[1:] != samples[:-1]) + 1
before, after = samples[changed - 1], samples[changed]
for bit in range(8):
    was, now = before >> bit & 1, after >> bit & 1
    if np.any(was != now):
        show(f"ch{bit}", changed[now > was] / rate, changed[now < was] / rate)
