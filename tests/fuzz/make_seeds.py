#!/usr/bin/env python3
"""Writes the seed inputs of the fuzz targets to tests/fuzz/seeds.

    tests/fuzz/make_seeds.py PROGRAM        (build/spanwright; needs flac, gzip, xz, zstd, libsndfile)

What stands before the bytes of each seed is said at the top of the targets' sources."""
import ctypes
import math
import os
import shutil
import struct
import subprocess
import sys
import tempfile

HERE = os.path.dirname(os.path.abspath(__file__))
SEEDS = os.path.join(HERE, "seeds")
PROGRAM = os.path.abspath(sys.argv[1] if len(sys.argv) > 1 else "build/spanwright")


def seed(target, name, data):
    folder = os.path.join(SEEDS, target)
    os.makedirs(folder, exist_ok=True)
    with open(os.path.join(folder, name), "wb") as file:
        file.write(data if isinstance(data, bytes) else data.encode())


def frames(n=8, width=(1500, 1000, 2000)):
    """(time us, level) of n frames of 20 ms"""
    for i in range(n):
        at = 41000 + 20000 * i
        yield at, 1
        yield at + width[i * len(width) // n], 0


def vcd(head="$timescale 1 us $end\n", n=8):
    text = head + "$scope module wren $end\n$var wire 1 ! claw $end\n$upscope $end\n"
    text += "$enddefinitions $end\n#0\n0!\n"
    return text + "".join("#%d\n%d!\n" % change for change in frames(n)) + "#250000\n"


VCD_RICH = """$date today $end
$version wren recorder $end
$comment second line $end
$timescale 10 ns $end
$scope module wren $end
$var wire 1 ! claw $end
$var reg 4 # lid [3:0] $end
$var real 64 r battery $end
$var wire 1 "< seed-roller [2] $end
$scope task deep $end
$var integer 32 i count $end
$var event 1 e mark $end
$upscope $end
$upscope $end
$enddefinitions $end
#0
$dumpvars
0!
bx #
r0 r
z"<
b0 i
$end
#100
1!
b1010 #
r4.75 r
1e
#150
$dumpoff
x!
bx #
$end
#300
$dumpon
1!
b101 #
$end
$dumpall
1!
$end
#100000
0! 1"<
"""


def seeds_vcd():
    seed("vcd", "plain", b"\0\0\0\0" + vcd().encode())
    seed("vcd", "rich", b"\x40\0\0\0" + VCD_RICH.encode())
    seed("vcd", "pieces", b"\x58\0\0\0" + vcd("$timescale 100ps $end\n").encode())
    seed("vcd", "early", b"\x88\0\1\0" + VCD_RICH.replace("\n", "\r\n").encode())
    seed("vcd", "standard", b"\x10\0\0\0" + open(os.path.join(HERE, "../data/vcd/standard_example.vcd"), "rb").read())


def seeds_table():
    def changes(gap, unit=1.0, form="%g", head="Time (us),claw\n"):
        return head + "".join(gap.join((form % (at * unit), str(level))) + "\n" for at, level in frames())

    seed("table", "changes", b"\0\0\0\0" + changes(",").encode())
    seed("table", "semicolons", b"\x40\0\0\0" + changes(";", 1e-6, "%.6f", "Zeit [s];Klaue\n").replace(".", ",").encode())
    seed("table", "tabs", b"\x44\0\0\0" + changes("\t", 1e-3, "%.3f", "").encode())
    seed("table", "dated", b"\x08\0\0\0Date,Time,claw,lid\n" + b"".join(
        b"2024-05-04,10:20:%09.6f,%d,0\n" % (30 + at * 1e-6, level) for at, level in frames()))
    volts = "# recorder wren\nTime (s),claw (V),note\n" + "".join(
        "%.4f,%.2f,\"a \"\"b\"\"\"\n" % (i * 1e-4, 3.3 if i % 200 > 180 else 0.02) for i in range(60))
    seed("table", "volts", b"\0\0\0\0" + volts.encode())
    seed("table", "samples", b"\x41\0\0\0claw,lid\n" + b"".join(b"%d,%d\n" % (i % 9 > 5, i % 7 > 2) for i in range(60)))
    seed("table", "widths", b"\0\0\0\0time_ms,pin0_us,pin1_us,angle\n" + b"".join(
        b"%d,%d,%d,%d\n" % (20 * i, 1000 + i // 8 * 500 + 4 * (i % 3), 1500, 10 * i) for i in range(24)))
    seed("table", "preamble", b'\0\0\0\0"Block Size",40\n"H-Resolution",4.0E-06,s\n#timebase=5(ms)\n' + b"".join(
        b",%.2f,%.2f\n" % (3.3 * (i % 9 > 5), 0.1 * (i % 4)) for i in range(40)))
    seed("table", "blanks", b"\0\0\0\0  Time (ms)   claw  lid (V)\n" + b"".join(
        b" %6.1f  %d \t%.2f\n" % (i * 0.5 + (i % 5) * 0.07, i % 7 > 3, 3.3 * (i % 7 > 3)) for i in range(40)))
    seed("table", "states", b"\0\0\0\0" + "time,claw,arm\n0,low,off\n0.001,HIGH,on\n0.002,x,off\n0.0035,L,off\n".encode())


def seeds_raw():
    data = bytes((i % 40 < 3) | (i % 33 < 5) << 1 for i in range(400))
    seed("raw", "lines", b"\x01\0\0\0" + data)
    seed("raw", "pipe", b"\x51\2\0\0" + data[:300])
    seed("raw", "still", b"\x09\5\0\0" + bytes(300) + b"\xff" * 20)


def wav(bits=16, channels=1, n=400, rate=16000, tag=1, claim=None):
    def sample(i):
        return 0.6 if i % 320 < 24 else 0.02 * math.sin(i)

    if tag == 3:
        data = b"".join(struct.pack("<f", sample(i)) * channels for i in range(n))
    else:
        size = bits // 8
        data = b"".join((int(sample(i) * (1 << (bits - 1))) + (128 if bits == 8 else 0)).to_bytes(
            size, "little", signed=bits > 8) * channels for i in range(n))
    step = channels * bits // 8
    fmt = struct.pack("<HHIIHH", tag, channels, rate, rate * step, step, bits)
    length = len(data) if claim is None else claim
    return b"RIFF" + struct.pack("<I", 36 + length) + b"WAVEfmt " + struct.pack("<I", 16) + fmt + b"data" + struct.pack(
        "<I", length) + data


def run(words, data):
    return subprocess.run(words, input=data, stdout=subprocess.PIPE, check=True).stdout


def flac(data):
    return run(["flac", "-s", "-c", "--no-md5-sum", "--no-padding", "--no-seektable", "-"], data)


def vorbis(n=800, rate=8000):
    """Ogg Vorbis, written by libsndfile; its stream has a random number, so it is another one each time"""
    class Info(ctypes.Structure):
        _fields_ = [("frames", ctypes.c_int64)] + [(name, ctypes.c_int) for name in
                                                   ("samplerate", "channels", "format", "sections", "seekable")]

    library = ctypes.CDLL("libsndfile.so.1")
    library.sf_open.restype = ctypes.c_void_p
    samples = (ctypes.c_float * n)(*(0.6 if i % 160 < 12 else 0.0 for i in range(n)))
    with tempfile.NamedTemporaryFile() as file:
        opened = library.sf_open(file.name.encode(), 0x20, ctypes.byref(Info(0, rate, 1, 0x200060, 0, 0)))
        library.sf_write_float(ctypes.c_void_p(opened), samples, ctypes.c_int64(n))
        library.sf_close(ctypes.c_void_p(opened))
        return open(file.name, "rb").read()


def seeds_audio():
    seed("audio", "wav16", b"\0\0\0\0" + wav())
    seed("audio", "wav8", b"\x40\0\0\0" + wav(8, 2, 200))
    seed("audio", "wav24", b"\x50\0\0\0" + wav(24, 1, 100, 48000))
    seed("audio", "float", b"\x88\0\0\0" + wav(32, 1, 100, 44100, 3))
    seed("audio", "cut", b"\x40\0\0\0" + wav(claim=4000))
    seed("audio", "endless", b"\x40\0\0\0" + wav(n=100, claim=0xFFFFFFFF - 36))
    seed("audio", "flac", b"\x40\0\0\0" + flac(wav(n=1500)))
    au = b".snd" + struct.pack(">IIIII", 24, 400, 3, 8000, 1)
    seed("audio", "au", b"\0\0\0\0" + au + bytes(400))
    comm = b"COMM" + struct.pack(">IhIh", 18, 1, 100, 16) + b"\x40\x0c\xfa\0\0\0\0\0\0\0"
    ssnd = b"SSND" + struct.pack(">III", 208, 0, 0) + bytes(200)
    seed("audio", "aiff", b"\0\0\0\0FORM" + struct.pack(">I", 4 + len(comm) + len(ssnd)) + b"AIFF" + comm + ssnd)
    seed("audio", "w64", b"\0\0\0\0riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\0\0" + bytes(40))
    seed("audio", "vorbis", b"\x40\0\0\0" + vorbis())
    seed("audio", "ogg", b"\0\0\0\0OggS\0\2" + bytes(20) + b"\1\x1e\1vorbis" + bytes(40))


def seeds_packed():
    text = vcd(n=4).encode()
    for name, words in (("gz", ["gzip", "-9nc"]), ("xz", ["xz", "-c"]), ("zst", ["zstd", "-qc"])):
        seed("packed", name, b"\0\0\0\0" + run(words, text))
    seed("packed", "two", b"\x40\0\0\0" + run(["gzip", "-nc"], text[:90]) + run(["gzip", "-nc"], text[90:]))
    seed("packed", "here_gz", b"\x01\0\0\0" + text)
    seed("packed", "here_xz", b"\x4b\x80\0\0" + text)
    seed("packed", "here_zst", b"\x95\x60\0\4" + text)
    seed("packed", "here_wav", b"\x01\0\0\0" + wav(n=100))


def seeds_recognise():
    starts = {
        "vcd": vcd(n=1), "table": "t,a\n0,0\n1,1\n2,0\n3,1\n", "wav": wav(n=20), "raw": bytes((1, 0, 1, 1)) * 30,
        "html": "<!doctype html>\n<p>time,claw\n", "json": "{\"a\": [1, 2]}\n", "wide": "t,a\n0,1\n".encode("utf-16"),
        "bom": b"\xef\xbb\xbft;a\n0;1\n1;0\n", "zip": b"PK\3\4" + bytes(40), "tar": bytes(257) + b"ustar\0",
        "evcd": "$var port 1 <0 claw $end\n$enddefinitions $end\n#0\npU 6 0 <0\n"}
    for name, data in starts.items():
        seed("recognise", name, b"\0\0\0\0" + (data if isinstance(data, bytes) else data.encode()))
    seed("recognise", "raw_rate", b"\x01\0\0\0" + starts["raw"])


BENCH = """; the planter Wren
[servo]
name = standard servo, claw
expected_low_us = 500
expected_high_us = 2500
tolerance_us = 10
dead_band_us = 5
mode = positional
travel_deg = 180
neutral_us = 1500
[controller]
channel = claw
asked_low_us = 1000
asked_neutral_us = 1500
asked_high_us = 2000
asked_frame_us = 20000
adjustable = yes
[recorder]
timebase_ppm = 30
[adapter]
tick_us = 0.5
word_bits = 16
neutral = bent
margin_us = 5
reverse = no
gap_us = 300
clock_ppm = 50
[joint]
reduction = 2
needed_deg = 80
allowed_low_deg = -60
allowed_high_deg = 60
[inspection]
event = spring fair
robot = Wren
port = 3
inspector = A. Person
date = 2025-05-04
"""


def seeds_bench():
    span = bytes((100, 100, 1, 0))
    seed("bench", "full", span + BENCH.encode())
    seed("bench", "windows", span + BENCH.replace("\n", "\r\n").replace("bent", "straight").encode())
    seed("bench", "rolls", span + b"[servo]\nmode = continuous\nstop_low_us = 1490\nstop_high_us = 1510\nrpm_per_us = 0.1\n"
         b"fastest_frame_hz = 50\n[adapter]\nreverse = yes\nword_bits = 64\ntick_us = 4\n")
    seed("bench", "unknown", span + b"[servo]\n  travel = 3\n; end")
    seed("bench", "template", span + run([PROGRAM, "bench"], b""))


def hold(width_us, n, bits=0):
    return struct.pack("<HBB", round((width_us - 300) * 20), n - 1, bits)


HOLDS = hold(1500, 15) + hold(1000, 15) + hold(2000, 15)


def seeds_chain():
    def chain(name, kind, more=0, bench="", data=HOLDS, pieces=0):
        bench += ";" * (-len(bench) % 4)
        seed("chain", name, bytes((kind, more, len(bench) // 4, pieces)) + bench.encode() + data)

    small = "[servo]\ntravel_deg = 180\ndead_band_us = 4\n[joint]\nneeded_deg = 150\n"
    for kind, name in ((2, "vcd"), (3, "lines"), (4, "table"), (5, "raw"), (6, "sound")):
        chain(name, kind)
        chain(name + "_bench", kind | 0x40, bench=small, pieces=3)
    chain("lines_full", 3, bench=BENCH.replace("; the planter Wren\n", "")[:1000])
    chain("rough", 2, data=hold(1200, 30, 0x20) + hold(1700, 20, 0xC4) + hold(700, 10, 3) + hold(2300, 40, 0x28))
    chain("sweep", 2, data=b"".join(hold(1000 + 25 * i, 2, 0x10) for i in range(41)))
    chain("negative", 2 | 0x80, 1)
    chain("known", 2, 4 | 8 | 0x10)
    chain("file", 0, data=vcd(n=12).encode())
    chain("file_table", 0x40, data=("Time (us),<b>&\"'claw\n" + "".join("%d,%d\n" % c for c in frames(9))).encode())
    chain("file_wav", 0, data=wav(8, 1, 3000, 8000))


def seeds_edges():
    def edges(name, bits, data, rate=0, noise=0, missing=0, droop=0, scale=0):
        seed("edges", name, bytes((bits, rate, noise, missing, droop, scale, 0, 0)) + data)

    edges("clean", 1 | 0x50, HOLDS)
    edges("noisy", 5 | 0x90, HOLDS, 1, 40)
    edges("droop", 1 | 0xC0, HOLDS, 0, 10, 0, 30)
    edges("holes", 3 | 0x60, HOLDS, 0, 10, 20)
    edges("volts", 9 | 0x30, HOLDS, 5, 10, 0, 0, 3)
    edges("fast", 1, hold(1500, 40, 7), 4, 3)
    edges("runs", 0x70, b"\0\xff" + b"\x70\x16\0\xff\0\x10" * 20)
    edges("ramps", 0x20, b"\0\xff" + b"\x20\0\x50\0\x70\x14\x50\0\x20\0\0\xff" * 12)


def seeds_json(folder):
    two = os.path.join(folder, "two.vcd")
    one = os.path.join(folder, "one.vcd")
    widths, now = [1500] * 12 + [1000] * 12 + [2000] * 12, 41000
    changes = []
    for width in widths:
        changes += [(now, "1!"), (now + width, "0!"), (now + 3000, "1#"), (now + 1500 + 2 * width, "0#")]
        now += 20000
    changes.sort()
    head = "$timescale 1us $end\n$var wire 1 ! claw $end\n%s$enddefinitions $end\n#0\n0!\n"
    with open(two, "w") as file:
        file.write(head % "$var wire 1 # servo $end\n" + "0#\n" + "".join("#%d\n%s\n" % c for c in changes))
    with open(one, "w") as file:
        file.write(head % "" + "".join("#%d\n%s\n" % c for c in changes if "!" in c[1]))
    bench = os.path.join(folder, "bench.ini")
    with open(bench, "w") as file:
        file.write("[adapter]\nneutral = bent\nword_bits = 16\n")

    def ask(*words):
        out = subprocess.run([PROGRAM, *words, "--json"], cwd=folder, stdout=subprocess.PIPE, check=False).stdout
        if not out.startswith(b"{"):
            sys.exit("no answer: " + " ".join(words))
        return out

    seed("measure_json", "one", ask("measure", "one.vcd"))
    seed("measure_json", "two", ask("measure", "two.vcd"))
    seed("plan_json", "straight", ask("plan", "one.vcd"))
    seed("plan_json", "bent", ask("plan", "--span", "900:1450:2000", "--bench", bench))
    seed("plan_json", "none", ask("plan", "--span", "500:1500:2500"))
    with open(os.path.join(folder, "plan.json"), "wb") as file:
        file.write(ask("plan", "one.vcd"))
    words = ("verify", "two.vcd", "--before", "claw", "--after", "servo")
    seed("verify_json", "planned", ask(*words, "--plan", "plan.json"))
    seed("verify_json", "line", ask(*words))
    seed("plan_json", "small", """{"schema": "spanwright.plan/1", "servo": {"tolerance_us": 10}, "fixed_point": null,
"remap": {"kind": "bent", "gain": 2, "offset_us": -1500, "clamp_us": {"low": 500, "high": 2500},
"segments": [{"from_us": 1000, "to_us": 1500, "gain": 2, "offset_us": -1500},
{"from_us": 1500, "to_us": 2000, "gain": 2, "offset_us": -1500}]}}""")
    seed("measure_json", "small", """{"schema": "spanwright.measure/1", "captures": [{"file": "a", "channels": [
{"name": "claw", "signal": "control_pulses", "period_us": {"mean": 20000, "U95": 1},
"span_us": {"low": 1000, "low_U95": 1, "high": 2000, "high_U95": 1, "neutral": null, "neutral_U95": null}}]}]}""")
    seed("verify_json", "small", """{"schema": "spanwright.verify/1", "pass": true, "pairs": 36, "latency_ms": null,
"line": {"gain": 2, "u_gain": 0.01, "offset_us": -1500, "u_offset_us": 1},
"checks": [{"name": "line", "why": "it does", "pass": null}], "points": [{"in_us": 1000, "out_us": 500, "clamped": true}]}""")


def main():
    shutil.rmtree(SEEDS, ignore_errors=True)
    for make in (seeds_vcd, seeds_table, seeds_raw, seeds_audio, seeds_packed, seeds_recognise, seeds_bench,
                 seeds_chain, seeds_edges):
        make()
    with tempfile.TemporaryDirectory() as folder:
        seeds_json(folder)


main()
