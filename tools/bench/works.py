"""What bench.py measures, and the limits."""
import os
from dataclasses import dataclass, field


@dataclass
class Other:
    """Something to be held against. limit: at most so many times its time (or, when
    faster, at least so many times as fast); answers: it prints figures to compare."""
    name: str
    command: list
    limit: float = None
    faster: bool = False
    answers: bool = False

    def judge(self, ratio):
        """How it is shown, the limit in words, whether it is met."""
        shown = f"{1 / ratio:.1f} times faster" if self.faster and ratio < 1 else f"{ratio:.2f} of its time"
        if self.limit is None:
            return shown, "", None
        if self.faster:
            words = "no slower" if self.limit == 1 else f"at least {self.limit:g} times faster"
            return shown, words, 1 / ratio >= self.limit
        return shown, f"at most {self.limit:g} of its time", ratio <= self.limit


@dataclass
class Work:
    """A capture and what it is measured against. sample_us: of an analogue capture;
    beside: another input that a contender reads."""
    name: str
    file: str
    bytes: float
    kind: str = ""
    seconds: float = 0
    packed: str = ""
    options: list = field(default_factory=list)
    sample_us: float = 0
    against: list = field(default_factory=list)
    beside: str = ""
    reader: bool = True

    @property
    def is_long(self):
        return self.bytes > 1e9


READ = ["TOOL", "read", "FILE"]


def read(limit=None):
    return Other("plain read", READ, limit)


def decode(kind, limit=None):
    what = {"short": "16-bit numbers", "float": "float", "double": "double"}[kind]
    return Other(f"libsndfile to {what}", ["TOOL", "decode", kind, "FILE"], limit)


def mawk(script, *options, limit=None):
    return Other("mawk", ["mawk", *options, "-f", f"HERE/{script}", "FILE"], limit, True, True)


def python(name, script, *options, limit=None):
    return Other(name, ["PYTHON", f"HERE/{script}", "FILE", *options], limit, True, True)


def unpacker(how):
    name = {"gz": "zcat", "zst": "zstdcat"}[how]
    return Other(f"{name} to nowhere", ["sh", "-c", f'{name} "$1" >/dev/null', "sh", "FILE"], 1.3)


def packed(work, how, share):
    name = {"gz": "gzip", "zst": "zstd"}[how]
    return Work(f"{work.name}, {name}", f"{work.file}.{how}", work.bytes * share, packed=how, options=work.options,
                sample_us=work.sample_us, against=[unpacker(how)], reader=False)


RAW = Work("raw, 4 servo lines at 24 MHz", "lines.raw", 480e6, "raw", 20, options=["--rate", "24000000"],
           against=[read(3), python("NumPy", "raw_numpy.py", "24e6")])
VCD = Work("VCD, a 5 MHz clock beside a servo line", "bus.vcd", 590e6, "vcd", 4.3,
           against=[read(), mawk("vcd.awk", "-v", "name=roller", "-v", "unit_us=0.01", limit=30)])
LOGIC = Work("logic table, a row a sample, 4 columns", "lines.csv", 350e6, "logic", 18.4,
             against=[read(), mawk("logic.awk", "-F,", limit=25), python("pandas", "logic_pandas.py", limit=30)])
VOLTS = Work("volts table", "volts.csv", 200e6, "volts", 10.4, sample_us=1,
             against=[read(), mawk("volts.awk", "-F,", "-v", "level=1.65"),
                      python("pandas, straight lines", "volts_pandas.py", limit=6)])
STEREO = Work("WAV 192 kHz stereo, a servo line on each channel", "stereo.wav", 230e6, "stereo", 300,
              sample_us=1e6 / 192e3,
              against=[decode("short", 12), decode("float"), decode("double"),
                       python("NumPy, straight lines", "wav_numpy.py", limit=1)])
LONG = Work("WAV 192 kHz stereo, 10 times longer", "long.wav", 2304e6, "stereo", 3000, sample_us=1e6 / 192e3,
            beside="stereo.wav", reader=False,
            against=[Other("spanwright, a tenth of it", ["PROGRAM", "measure", "--json", "BESIDE"], 11)])
MONO = Work("WAV 48 kHz mono, 10 minutes at 50 Hz", "mono.wav", 57.6e6, "mono", 600, sample_us=1e6 / 48e3,
            against=[decode("short", 25), python("NumPy, straight lines", "wav_numpy.py")])

WORKS = [RAW, VCD, LOGIC, VOLTS, STEREO, LONG, MONO,
         packed(VCD, "gz", 0.15), packed(VCD, "zst", 0.15), packed(LOGIC, "gz", 0.2), packed(LOGIC, "zst", 0.2),
         packed(STEREO, "gz", 0.7), packed(STEREO, "zst", 0.7)]


def make_inputs(bench, chosen):
    """The inputs of the works chosen, and those that they are made from."""
    names = {w.file for w in chosen} | {w.beside for w in chosen}
    names |= {os.path.splitext(w.file)[0] for w in chosen if w.packed}
    for work in WORKS:
        if work.file not in names:
            continue
        if work.packed:
            bench.packed(os.path.join(bench.folder, os.path.splitext(work.file)[0]), work.packed)
        else:
            bench.load(work.file, work.kind, work.seconds * bench.args.size)


@dataclass
class ByteCount:
    """Instructions a byte: what a capture of twice the length takes more than one of
    the single, so that start and recognition drop out."""
    name: str
    kind: str
    seconds: float
    options: list = field(default_factory=list)

    def of(self, bench):
        path = [bench.load(f"count-{self.kind}-{k}", self.kind, k * self.seconds) for k in (1, 2)]
        count = [bench.instructions([bench.program, "measure", "--json", p] + self.options) for p in path]
        size = [os.path.getsize(p) for p in path]
        return [(f"{self.name}, a byte", (count[1] - count[0]) / (size[1] - size[0]), None)]


@dataclass
class EdgeCount:
    """Instructions a sample and an edge. Three captures: `seconds` long, enough for
    all that edges are ever learned from; twice as long; twice as long, with twice the
    frame rate from `seconds` on. The third takes the edges of the second once more,
    the second samples and edges of the first."""
    name: str
    kind: str
    channels: int
    rate_hz: float
    seconds: float

    def of(self, bench):
        start = self.seconds
        path = [bench.load(f"count-{self.kind}-1", self.kind, start),
                bench.load(f"count-{self.kind}-2", self.kind, 2 * start),
                bench.load(f"count-{self.kind}-2-fast", self.kind, 2 * start, start, 10000)]
        count = [bench.instructions([bench.program, "measure", "--json", p]) for p in path]
        edges = 2 * self.channels * start / 20e-3
        an_edge = (count[2] - count[1]) / edges
        a_sample = (count[1] - count[0] - an_edge * edges) / (start * self.rate_hz * self.channels)
        return [(f"{self.name}, a sample", a_sample, 60), (f"{self.name}, an edge", an_edge, 40000)]


COUNTS = [ByteCount("raw", "raw", 0.25, ["--rate", "24000000"]), ByteCount("VCD", "vcd", 0.25),
          ByteCount("logic table", "logic", 0.5), ByteCount("volts table", "volts", 0.5),
          EdgeCount("192 kHz stereo", "stereo", 2, 192e3, 14), EdgeCount("48 kHz mono", "mono", 1, 48e3, 26)]
