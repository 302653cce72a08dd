#!/usr/bin/env python3
"""Writes the captures that the runs of runs.list read, beside the shipped ones.

    make_inputs.py FOLDER

Whole numbers and a generator of its own only, so that every machine writes the same bytes.
"""
import os
import sys
import wave


class Noise:
    """A linear congruential generator (Knuth, MMIX); sums of uniform numbers for scatter."""

    def __init__(self, seed):
        self.state = seed

    def below(self, n):
        self.state = (self.state * 6364136223846793005 + 1442695040888963407) % (1 << 64)
        return (self.state >> 33) % n

    def ticks(self, spread):
        """Whole number with standard deviation spread / sqrt(3), about normal."""
        return sum(self.below(2 * spread + 1) - spread for _ in range(4)) // 2 if spread else 0


def pulses(stretches, seed=1, unit=1000, start=4000):
    """(lead, trail) in ns of stretches (frames, period us, width us, jitter ns)."""
    noise, at, out = Noise(seed), start * unit, []
    for frames, period, width, jitter in stretches:
        for _ in range(frames):
            out.append((at, at + round(width * unit) + noise.ticks(jitter)))
            at += round(period * unit)
    return out, at


def vcd(path, lines, unit="1 ns", inverted=()):
    """lines: name -> list of (lead, trail) in the file's unit."""
    changes = []
    for code, (name, train) in enumerate(lines.items()):
        high, low = ("0", "1") if name in inverted else ("1", "0")
        changes.append((0, code, low))
        for lead, trail in train:
            changes += [(lead, code, high), (trail, code, low)]
    changes.sort()
    with open(path, "w") as f:
        f.write("$timescale %s $end\n$scope module wren $end\n" % unit)
        for code, name in enumerate(lines):
            f.write("$var wire 1 %c %s $end\n" % (33 + code, name))
        f.write("$upscope $end\n$enddefinitions $end\n")
        last = None
        for at, code, value in changes:
            if at != last:
                f.write("#%d\n" % at)
                last = at
            f.write("%s%c\n" % (value, 33 + code))
        f.write("#%d\n" % (changes[-1][0] + 15_000_000))


def table(path, train, end, step):
    """A table of volts sampled every step ns."""
    with open(path, "w") as f:
        f.write("Time (us),claw (V)\n")
        at, level, k = 0, 0, 0
        edges = [t for pair in train for t in pair]
        noise = Noise(9)
        while at < end:
            while k < len(edges) and edges[k] <= at:
                level ^= 1
                k += 1
            f.write("%.3f,%.3f\n" % (at / 1000, (3.3 if level else 0.02) + 0.001 * (noise.below(21) - 10)))
            at += step


def sound(path, train, end, rate=48000, loud=9000, clip=32767, lost=None):
    """16 bit mono: a coupled line whose edges are straight over two samples."""
    n = end * rate // 10**9
    line = [0] * (n + 8)
    for lead, trail in train:
        for t, sign in ((lead, 1), (trail, -1)):
            place = t * rate * 16 // 10**9
            for i in range(place // 16, place // 16 + 4):
                if i < n:
                    share = min(max(16 * (i + 1) - place, 0), 32)
                    line[i] += sign * share
        a, b = lead * rate * 16 // 10**9 // 16 + 4, trail * rate * 16 // 10**9 // 16 + 4
        for i in range(a, min(b, n)):
            line[i] += 32
    noise, level, last, out = Noise(5), 0, 0, []
    for i in range(n):
        level = abs(level) * 8180 // 8192 * (1 if level >= 0 else -1) + (line[i] - last) * 64
        last = line[i]
        value = level * loud // 2048 + noise.ticks(6)
        if lost and lost <= i < lost + 512:
            continue
        out.append(max(-clip - 1, min(clip, value)))
    with wave.open(path, "wb") as w:
        w.setnchannels(1)
        w.setsampwidth(2)
        w.setframerate(rate)
        w.writeframes(b"".join(v.to_bytes(2, "little", signed=True) for v in out))


def main(folder):
    os.makedirs(folder, exist_ok=True)
    here = lambda name: os.path.join(folder, name)
    three = lambda low, neutral, high, n=100, period=20000, jitter=300: [
        (n, period, low, jitter), (n, period, neutral, jitter), (n, period, high, jitter)]
    plain, end = pulses(three(1000.3, 1500.1, 1999.8))
    vcd(here("plain.vcd"), {"claw": plain})
    vcd(here("inverted.vcd"), {"claw": plain}, inverted=("claw",))
    wide, _ = pulses(three(498.5, 1500, 2502.5))
    vcd(here("wide.vcd"), {"claw": wide})
    beyond, _ = pulses(three(440, 1500, 2620))
    vcd(here("beyond.vcd"), {"claw": beyond})
    vcd(here("one.vcd"), {"claw": pulses([(150, 20000, 1500, 200)])[0]})
    vcd(here("jitter.vcd"), {"claw": pulses(three(1000, 1500, 2000, jitter=20000), seed=3)[0]})
    grid = [(a // 4000 * 4000, b // 4000 * 4000) for a, b in pulses(three(1006, 1506, 2006, period=20003.7))[0]]
    vcd(here("grid.vcd"), {"claw": grid})
    odd, k = [], 0
    for lead, trail in pulses(three(500, 1500, 2500), seed=4)[0]:
        k += 1
        odd.append((lead, lead + 1_320_000 if k % 50 == 20 else trail))
    vcd(here("odd.vcd"), {"claw": odd})
    vcd(here("missing.vcd"), {"claw": [p for i, p in enumerate(plain) if i % 37 != 20 and not 150 <= i < 160]})
    vcd(here("short.vcd"), {"claw": [(a, b) if i < 120 else (a - 9_350_000, b - 9_350_000) for i, (a, b) in enumerate(plain)]})
    vcd(here("regimes.vcd"), {"claw": pulses(three(1000, 1500, 2000) + [(1000, 3000, 900, 100)], seed=6)[0]})
    vcd(here("two.vcd"), {"claw": plain, "lid": wide, "clock": [(i * 1000, i * 1000 + 500) for i in range(4000)]})
    vcd(here("wander.vcd"), {"claw": pulses([(100, 20000, 1000, 200)] +
                                            [(3, 20000, 1500 + (i % 60 if i % 60 < 30 else 60 - i % 60) * 0.4, 200) for i in range(120)] +
                                            [(100, 20000, 2000, 200)], seed=8)[0]})
    vcd(here("ramp.vcd"), {"claw": pulses([(100, 20000, 1000, 200)] + [(1, 20000, 1000 + 0.5 * i, 200) for i in range(400)] +
                                          [(100, 20000, 1200, 200)], seed=9)[0]})
    noise, after = Noise(11), []
    before, _ = pulses([(60, 20000, width, 300) for width in (1000, 1200, 1500, 1750, 2000)], seed=12)
    for lead, trail in before:
        out = min(max(2 * (trail - lead) - 1_500_000, 510_000), 2_490_000)
        out = (out + 500) // 1000 * 1000
        start = trail + 12_000 + noise.below(900)
        after.append((start, start + out))
    vcd(here("fitted.vcd"), {"link": before, "servo": after})
    vcd(here("exchanged.vcd"), {"link": after, "servo": before})
    vcd(here("dropped.vcd"), {"link": before, "servo": [p for i, p in enumerate(after) if i % 4]})
    table(here("volts.csv"), plain[:40] + plain[100:140], plain[139][1] + 9_000_000, 20_000)
    with open(here("widths.csv"), "w") as f:
        f.write("time_ms,pin0_us\n")
        for i in range(180):
            f.write("%d,%d\n" % (20 * i, (1000, 1500, 2000)[i // 60] + i % 3 * 4))
    with open(here("idle.csv"), "w") as f:
        f.write("time_s,claw\n" + "".join("%d.%03d,0\n" % (i // 1000, i % 1000) for i in range(2000)))
    slots = []
    for frame in range(200):
        at = frame * 22_500_000
        for width in (1500, 1000, 2000, 1250, 1500, 1750):
            slots.append((at, at + 300_000))
            at += width * 1000
        slots.append((at, at + 300_000))
    vcd(here("sum.vcd"), {"ppm": slots})
    sound(here("plain.wav"), plain, end)
    sound(here("clipped.wav"), plain, end, loud=9000, clip=6000)
    sound(here("lost.wav"), plain, end, lost=150_100)
    with open(here("claw.ini"), "w") as f:
        f.write("[servo]\nname=claw servo\ndead_band_us=4\ntravel_deg=180\nstop_low_us=450\nstop_high_us=2550\n"
                "[controller]\nasked_low_us=1000\nasked_neutral_us=1500\nasked_high_us=2000\nasked_frame_us=20000\n"
                "[adapter]\nmargin_us=10\n[joint]\nreduction=2\nneeded_deg=80\n"
                "[inspection]\nrobot=Wren\nevent=Spring garden meeting\nport=1\n")
    with open(here("bent.ini"), "w") as f:
        f.write("[servo]\nneutral_us=1480\n[adapter]\nneutral=bent\nword_bits=16\nreverse=yes\n")
    with open(here("set.ini"), "w") as f:
        f.write("[servo]\nmode=continuous\nrpm_per_us=0.1\ndead_band_us=8\n[controller]\nadjustable=yes\n")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    main(sys.argv[1])
