#!/usr/bin/env python3
"""Changes one place of the sources at a time and sees whether a test fails.

  tools/mutants.py BUILD [--only TEXT] [--jobs N]

tests/mutants/*.list has a change a line, six cells set apart by tabs:
  FILE  BEFORE  AFTER  TESTS  WHY  [SURVIVES]
BEFORE stands exactly once in FILE (in it and in AFTER, \\n is a line's end). TESTS are what can
see it: programs (unit/adapter/test_remap) and cases (case:plan-joint). WHY says what goes wrong
for a person when it is changed. SURVIVES, where there is one, explains why no test can tell;
a change with it must survive. Each change is made in a copy of the tree, which is built and
tested; then it is taken back. The status is 1 when a change survives that is not explained, when
an explained one does not, when one does not compile, or when fewer than 95 % are killed."""
import argparse
import concurrent.futures
import pathlib
import queue
import shutil
import subprocess
import sys

LEAST_KILLED = 0.95
PATIENCE_S = 300  # a change can make a test run on for ever


class Mutant:
    def __init__(self, place, cells):
        self.place = place
        self.file, before, after, tests, self.why = cells[:5]
        self.before, self.after = (text.replace("\\n", "\n") for text in (before, after))
        self.tests = tests.split()
        self.survives = cells[5] if len(cells) > 5 else ""


def read_lists(folder, only):
    mutants = []
    for path in sorted(folder.glob("*.list")):
        for number, line in enumerate(path.read_text().splitlines(), 1):
            if not line or line.startswith("#"):
                continue
            cells = line.split("\t")
            if len(cells) not in (5, 6) or not all(cells[:2]) or not all(cells[3:5]):
                sys.exit(f"{path}:{number}: not FILE, BEFORE, AFTER, TESTS, WHY set apart by tabs")
            if only in line:
                mutants.append(Mutant(f"{path.name}:{number}", cells))
    return mutants


def copy_of(tree, to):
    """A copy of what git knows of the tree, as it is on the disk."""
    names = subprocess.run(["git", "ls-files", "-z", "-co", "--exclude-standard"], cwd=tree, check=True,
                           capture_output=True).stdout.decode().split("\0")
    for name in filter(None, names):
        if (tree / name).is_file():
            target = to / name
            target.parent.mkdir(parents=True, exist_ok=True)
            if not target.exists() or target.read_bytes() != (tree / name).read_bytes():
                shutil.copyfile(tree / name, target)
                target.chmod((tree / name).stat().st_mode)
    for path in list(to.glob("src/**/*.[ch]")) + list(to.glob("tests/**/*.c")):
        if not (tree / path.relative_to(to)).exists():
            path.unlink()


def make(copy, targets):
    return subprocess.run(["make", "-s", "--no-print-directory", "OPTIMISE=-O1", "HARDEN=", *targets], cwd=copy,
                          capture_output=True, text=True, check=False)


def targets_of(tests):
    programs = [f"build/tests/{test}" for test in tests if not test.startswith("case:")]
    return programs + (["build/spanwright"] if len(programs) < len(tests) else [])


def passes(copy, test):
    if test.startswith("case:"):
        command = ["tests/cli/test_cli.sh", f"tests/cli/cases/{test[5:]}.case"]
    else:
        command = [f"build/tests/{test}"]
    try:
        return subprocess.run(command, cwd=copy, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                              stdin=subprocess.DEVNULL, timeout=PATIENCE_S, check=False).returncode == 0
    except subprocess.TimeoutExpired:
        return False


def judge(copy, mutant):
    """What became of it: killed, survived, or what is wrong with its line."""
    path = copy / mutant.file
    if not path.is_file():
        return "there is no such file"
    original = path.read_text()
    if original.count(mutant.before) != 1:
        return f"BEFORE stands {original.count(mutant.before)} times in the file"
    try:
        path.write_text(original.replace(mutant.before, mutant.after))
        made = make(copy, targets_of(mutant.tests))
        if made.returncode != 0:
            return "does not compile: " + " ".join(made.stderr.split())[:200]
        killed = not all(passes(copy, test) for test in mutant.tests)
    finally:
        path.write_text(original)
    return "killed" if killed else "survived"


def main():
    options = argparse.ArgumentParser()
    options.add_argument("build")
    options.add_argument("--only", default="")
    options.add_argument("--jobs", type=int, default=2)
    chosen = options.parse_args()
    tree = pathlib.Path(__file__).resolve().parent.parent
    mutants = read_lists(tree / "tests" / "mutants", chosen.only)
    if not mutants:
        sys.exit("mutants: none to try")
    copies = queue.Queue()
    needed = sorted({test for mutant in mutants for test in mutant.tests})
    for i in range(min(chosen.jobs, len(mutants))):
        copy = pathlib.Path(chosen.build).resolve() / f"copy{i}"
        copy_of(tree, copy)
        made = make(copy, targets_of(needed))
        if made.returncode != 0:
            sys.exit("mutants: the tree does not build\n" + made.stderr[-2000:])
        copies.put(copy)
    first = copies.queue[0]
    for test in needed:
        if not passes(first, test):
            sys.exit(f"mutants: {test} fails without any change")

    def try_one(mutant):
        copy = copies.get()
        try:
            return mutant, judge(copy, mutant)
        finally:
            copies.put(copy)

    killed = explained = bad = 0
    with concurrent.futures.ThreadPoolExecutor(copies.qsize()) as pool:
        for mutant, outcome in pool.map(try_one, mutants):
            wanted = "survived" if mutant.survives else "killed"
            killed += outcome == "killed"
            explained += outcome == "survived" and bool(mutant.survives)
            if outcome != wanted:
                bad += 1
                print(f"{mutant.place}: {mutant.file}: {outcome}: {mutant.before!r} -> {mutant.after!r}: {mutant.why}",
                      flush=True)
    share = killed / len(mutants)
    print(f"mutants: {len(mutants)} changes, {killed} killed ({100 * share:.1f} %), {explained} explained")
    sys.exit(1 if bad or share < LEAST_KILLED else 0)


if __name__ == "__main__":
    main()
