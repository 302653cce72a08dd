"""Pulses of each channel of a 16-bit WAV file, crossings of the middle level by
straight lines between the samples: wav_numpy.py FILE"""
import sys
import wave

import numpy as np
from figures import show

with wave.open(sys.argv[1]) as sound:
    rate, channels, frames = sound.getframerate(), sound.getnchannels(), sound.getnframes()
samples = np.memmap(sys.argv[1], dtype="<i2", mode="r", offset=44, shape=(frames, channels))
for channel in range(channels):
    y = samples[:, channel].astype(np.float32)
    middle = (y.min() + y.max()) / 2
    high = y > middle
    at = np.flatnonzero(high[1:] != high[:-1])
    crossing = (at + (middle - y[at]) / (y[at + 1] - y[at])) / rate
    show(f"ch{channel}", crossing[~high[at]], crossing[high[at]])
