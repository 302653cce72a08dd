"""Measures how fast `spanwright measure` is: makes its inputs, runs it in turn with
plain reading, plain decoding and the scripts beside this file, compares all their
answers and prints tables for README.md. See --help; `make bench` calls it.

Progress goes to stderr. Exit status: 1 when two answers disagree, or, with
--strict, when a limit is missed; 2 when something cannot be run."""
import argparse
import contextlib
import glob
import hashlib
import io
import os
import re
import shutil
import statistics
import subprocess
import sys

import tables
import works
from answers import compare, figures_of_measure

HERE = os.path.dirname(os.path.abspath(__file__))


def say(text):
    print(f"bench: {text}", file=sys.stderr, flush=True)


def stop(text):
    say(text)
    sys.exit(2)


class Bench:
    """Where things are, and how a command is run."""

    def __init__(self, args):
        self.args = args
        self.program = os.path.join(args.build, "spanwright")
        self.tool = os.path.join(args.build, "tools", "bench_reference")
        self.maker = os.path.join(args.build, "tools", "make_loads")
        self.folder = os.path.join(args.build, "bench", f"size-{args.size:g}")
        os.makedirs(self.folder, exist_ok=True)
        self.recipe = self.recipe_digest()

    def recipe_digest(self):
        """Inputs are kept until what makes them changes."""
        digest = hashlib.sha256()
        for path in sorted(glob.glob(os.path.join(HERE, "..", "sim", "*.[ch]"))) + [
            os.path.join(HERE, "..", "make_loads.c")
        ]:
            with open(path, "rb") as source:
                digest.update(source.read())
        return digest.hexdigest()

    def make(self, name, command, packs=None):
        """Makes the input `name` by `command` unless it is there already. packs: the
        input that the command packs to its output."""
        path = os.path.join(self.folder, name)
        note = path + ".made"
        wanted = " ".join([self.recipe] + [os.path.basename(word) for word in command])
        if packs is not None:
            wanted += " of " + self.read(packs + ".made")
        if os.path.exists(note):
            if os.path.exists(path) and self.read(note) == wanted:
                return path
            os.remove(note) # a making that is broken off leaves none
        say(f"makes {name}")
        if packs is None:
            status = subprocess.run(command, check=False).returncode
        else:
            with open(path, "wb") as out:
                status = subprocess.run(command, stdout=out, check=False).returncode
        if status != 0:
            stop(f"cannot make {path}")
        with open(note, "w", encoding="ascii") as new:
            new.write(wanted)
        return path

    @staticmethod
    def read(path):
        with open(path, encoding="utf-8") as text:
            return text.read()

    def load(self, name, kind, seconds, *more):
        path = os.path.join(self.folder, name)
        return self.make(name, [self.maker, kind, f"{seconds:.6g}", path, *map(str, more)])

    def packed(self, path, how):
        command = {"gz": ["gzip", "-nc", path], "zst": ["zstd", "-qc", path]}[how]
        return self.make(f"{os.path.basename(path)}.{how}", command, packs=path)

    def run(self, command):
        """Wall seconds, CPU seconds, peak KiB and output of a command."""
        out = os.path.join(self.folder, "answer")
        taken = subprocess.run([self.tool, "run", out] + command, capture_output=True, text=True, check=False)
        fields = taken.stdout.split()
        if taken.returncode != 0 or len(fields) != 4 or fields[3] != "0":
            stop(f"failed: {' '.join(command)}\n{taken.stderr}")
        return float(fields[0]), float(fields[1]), int(fields[2]), self.read(out)

    def instructions(self, command):
        """Instructions that a command executes, as callgrind counts them."""
        ran = subprocess.run(
            ["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null"] + command,
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, check=False)
        found = re.search(r"Collected\s*:\s*(\d+)", ran.stderr)
        if ran.returncode != 0 or not found:
            stop(f"failed under callgrind: {' '.join(command)}\n{ran.stderr}")
        return int(found.group(1))


class Result:
    """What the rounds of one work gave."""

    def __init__(self, work, path, by_processor):
        self.work, self.path, self.by_processor = work, path, by_processor
        self.size = os.path.getsize(os.path.splitext(path)[0] if work.packed else path)
        self.seconds, self.cpu, self.peak, self.answer = {}, {}, {}, {}

    def add(self, name, ran):
        seconds, cpu, peak, self.answer[name] = ran
        self.seconds.setdefault(name, []).append(seconds)
        self.cpu.setdefault(name, []).append(cpu)
        self.peak[name] = max(self.peak.get(name, 0), peak)

    def times(self):
        return self.cpu if self.by_processor else self.seconds

    def median(self, name):
        return statistics.median(self.times()[name])

    def ratio(self, name):
        """Median over the rounds of our time over theirs."""
        pairs = zip(self.times()["measure"], self.times()[name])
        return statistics.median(ours / max(theirs, 1e-6) for ours, theirs in pairs)

    def tell(self):
        """A line of progress; CPU time is what counts on a busy machine."""
        times = [f"{name} {statistics.median(self.seconds[name]):.3f} ({statistics.median(self.cpu[name]):.3f})"
                 for name in self.seconds]
        say(f"{self.work.name}: seconds (of the processor) {', '.join(times)}")

    def pulses(self):
        return sum(f[0] for f in figures_of_measure(self.answer["measure"]).values())

    def allowed_mib(self):
        return 48 + self.pulses() * 64 / 2**20


def contenders(bench, work, path):
    """Name: command of all that run in a round of a work."""
    words = {"PROGRAM": bench.program, "TOOL": bench.tool, "PYTHON": sys.executable, "HERE": HERE, "FILE": path}
    if work.beside:
        words["BESIDE"] = os.path.join(bench.folder, work.beside)
    commands = {"measure": ["PROGRAM", "measure", "--json", "FILE"] + work.options}
    if work.reader:
        commands["reader alone"] = ["TOOL", "reader", "FILE"] + work.options[1:]
    commands.update({other.name: other.command for other in work.against})

    def filled(word):
        return re.sub(r"\b(" + "|".join(words) + r")\b", lambda m: words[m.group(1)], word)

    return {name: [filled(word) for word in command] for name, command in commands.items()}


def measure(bench, work):
    """Runs the rounds of a work; contenders take turns, so that drift meets all."""
    path = os.path.join(bench.folder, work.file)
    result, commands = Result(work, path, bench.args.processor), contenders(bench, work, path)
    for name in {path} | ({os.path.join(bench.folder, work.beside)} if work.beside else set()):
        bench.run([bench.tool, "read", name]) # into the page cache
    order = list(commands)
    say(f"{work.name}: {bench.args.runs} rounds of {', '.join(order)}")
    for turn in range(bench.args.runs):
        for name in order[turn % len(order):] + order[: turn % len(order)]:
            result.add(name, bench.run(commands[name]))
    result.tell()
    return result


def counted(bench):
    for count in works.COUNTS:
        say(f"counts the instructions of {count.name}")
        yield from count.of(bench)


def into_readme(path, new):
    """Puts the tables between the two marks of a page."""
    text = Bench.read(path)
    text, n = re.subn(r"(<!-- bench -->\n).*(<!-- end of bench -->)",
                     lambda m: f"{m.group(1)}\n{new}\n{m.group(2)}", text, flags=re.S)
    if n != 1:
        stop(f"{path} has no place for the tables")
    with open(path, "w", encoding="utf-8") as page:
        page.write(text)


def machine():
    try:
        with open("/proc/cpuinfo", encoding="utf-8") as info:
            virtual = "hypervisor" in info.read()
    except OSError:
        virtual = False
    kind = os.uname().machine.replace("_", "-")
    return f"{'a virtual' if virtual else 'an'} {kind} machine with {len(os.sched_getaffinity(0))} cores"


def arguments():
    parser = argparse.ArgumentParser(description="Measures the speed of spanwright measure.")
    parser.add_argument("--build", default="build", help="where the program and the tools are")
    parser.add_argument("--size", type=float, default=1, help="length of the inputs, 1: as in the limits")
    parser.add_argument("--runs", type=int, default=5, help="rounds of each work")
    parser.add_argument("--only", default="", help="works, by file: " + ",".join(w.file for w in works.WORKS))
    parser.add_argument("--no-long", action="store_true", help="leave the longest out (2.3 GB)")
    parser.add_argument("--no-instructions", action="store_true", help="count no instructions")
    parser.add_argument("--processor", action="store_true",
                        help="rates and ratios of processor time, where others use the machine too")
    parser.add_argument("--readme", help="page to put the tables into, between its marks")
    parser.add_argument("--strict", action="store_true", help="a missed limit is a failure")
    return parser.parse_args()


def main():
    args = arguments()
    bench = Bench(args)
    for command in ("mawk", "gzip", "zcat", "zstd", "zstdcat", "valgrind"):
        if shutil.which(command) is None:
            stop(f"{command} is missing (tools/setup.sh bench)")
    only = set(args.only.split(",")) - {""}
    chosen = [w for w in works.WORKS if (not only or w.file in only) and not (args.no_long and w.is_long)]
    lacking = [w for w in chosen if not os.path.exists(os.path.join(bench.folder, w.file))]
    needed = sum(w.bytes for w in lacking) * args.size * 1.1
    if shutil.disk_usage(bench.folder).free < needed:
        stop(f"the inputs need {needed / 1e9:.1f} GB in {bench.folder}; SIZE=0.1 makes them smaller")
    works.make_inputs(bench, chosen)
    os.sync() # no writing back to the disk while others are timed
    results = [measure(bench, work) for work in chosen]
    compared, bad = compare(results)
    what = "Medians (rates and comparisons are of processor time)" if args.processor else "Medians"
    if args.size != 1:
        what = f"Captures of {args.size:g} of the full length. {what}"
    text = io.StringIO()
    with contextlib.redirect_stdout(text):
        print(f"{what} of {args.runs} {'run' if args.runs == 1 else 'runs'} in turn on {machine()}, files in the "
              "page cache; sizes are of captures unpacked.\n")
        missed = tables.print_times(results) + tables.print_ratios(results)
        if not args.no_instructions:
            missed += tables.print_instructions(counted(bench))
        print(f"\n{'All' if not bad else 'Not all'} of {compared} other answers agree with spanwright's in number of "
              "pulses, mean width and mean period of every line.")
    print(text.getvalue(), end="")
    if args.readme and not bad:
        into_readme(args.readme, text.getvalue())
    for sentence in bad:
        say(f"disagrees: {sentence}")
    say(f"{missed} limits missed")
    return 1 if bad or (args.strict and missed) else 0


if __name__ == "__main__":
    sys.exit(main())
