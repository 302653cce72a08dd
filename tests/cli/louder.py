#!/usr/bin/env python3
"""A recording made louder, as a recorder with its level too high would have taken it.
Arguments: WAV of 16 bit, WAV to write, factor, from second (default 0) to second (default end)."""
import array
import sys
import wave

source, target, factor = sys.argv[1], sys.argv[2], float(sys.argv[3])
with wave.open(source) as file:
    parameters = file.getparams()
    samples = array.array("h", file.readframes(parameters.nframes))
rate = parameters.framerate * parameters.nchannels
first = int(rate * float(sys.argv[4])) if len(sys.argv) > 4 else 0
end = int(rate * float(sys.argv[5])) if len(sys.argv) > 5 else len(samples)
for i in range(first, min(end, len(samples))):
    samples[i] = max(-32768, min(32767, round(samples[i] * factor)))
with wave.open(target, "wb") as file:
    file.setparams(parameters)
    file.writeframes(samples.tobytes())
