#!/usr/bin/env python3
"""Text, JSON, sheets, headers and CSV of the runs in runs.list are those of digests.list.

    test_outputs.py              as a test: prints what differs, then "N passed, M failed"
    test_outputs.py write        after a change that is meant: writes digests.list anew
    test_outputs.py keep FOLDER  keeps the outputs, to be compared by `diff -r`

A move of code leaves every digest as it is. Whoever means to change an output looks at the
difference between two kept folders first and commits the new digests with the change.
Numbers of the answers from sound are compared to 7 digits: transforms of another kind of
processor may add up in another order.
"""
import hashlib
import os
import re
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

HERE = os.path.dirname(os.path.abspath(__file__))
TOP = os.path.dirname(os.path.dirname(HERE))
LONG = re.compile(rb"-?\d+\.\d{6,}(e[-+]?\d+)?")


def runs():
    with open(os.path.join(HERE, "runs.list")) as f:
        for line in f:
            if line.strip() and not line.startswith("#"):
                name, commands = line.split(None, 1)
                main, *first = [c.strip() for c in commands.split("|")]
                yield name, first + [main]


def shorter(data):
    return LONG.sub(lambda m: b"%.7g" % float(m.group()), data)


def outputs(program, inputs, commands):
    """What the last command gives: name -> bytes."""
    with tempfile.TemporaryDirectory() as T:
        names = {"$I": inputs, "$C": "captures", "$T": T}
        env = dict(os.environ, LC_ALL="C.UTF-8", NO_COLOR="1")
        for command in commands:
            words = command.split()
            for short, folder in names.items():
                words = [w.replace(short, folder) for w in words]
            done = subprocess.run([program] + words, cwd=TOP, env=env, stdin=subprocess.DEVNULL, capture_output=True)
        seen = {"status": b"%d\n" % done.returncode, "stdout": done.stdout, "stderr": done.stderr}
        for name in sorted(os.listdir(T)):
            if not name.isdigit():
                with open(os.path.join(T, name), "rb") as f:
                    seen[name] = f.read()
    for name, data in seen.items():
        data = data.replace(inputs.encode(), b"I").replace(T.encode(), b"T")
        seen[name] = shorter(data) if ".wav" in commands[-1] else data
    return seen


def digest(seen):
    h = hashlib.sha256()
    for name, data in seen.items():
        h.update(b"%s %d\n" % (name.encode(), len(data)) + data)
    return h.hexdigest()[:16]


def main(arguments):
    program = os.path.abspath(os.environ.get("SPANWRIGHT", os.path.join(TOP, "build/spanwright")))
    listed = os.path.join(HERE, "digests.list")
    with tempfile.TemporaryDirectory() as inputs:
        subprocess.run([sys.executable, "-B", os.path.join(HERE, "make_inputs.py"), inputs], check=True)
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            todo = [(name, pool.submit(outputs, program, inputs, commands)) for name, commands in runs()]
            seen = [(name, work.result()) for name, work in todo]
    if arguments[:1] == ["keep"] and len(arguments) == 2:
        for name, parts in seen:
            for part, data in parts.items():
                os.makedirs(os.path.join(arguments[1], name), exist_ok=True)
                with open(os.path.join(arguments[1], name, part), "wb") as f:
                    f.write(data)
        return 0
    if arguments == ["write"]:
        with open(listed, "w") as f:
            f.writelines("%s %s\n" % (digest(parts), name) for name, parts in seen)
        return 0
    if arguments:
        sys.exit(__doc__)
    with open(listed) as f:
        wanted = {name: d for d, name in (line.split() for line in f)}
    wrong = [name for name, parts in seen if wanted.get(name) != digest(parts)]
    wrong += sorted(set(wanted) - {name for name, _ in seen})
    for name in wrong:
        print("%s: another output than before (test_outputs.py keep FOLDER shows it)" % name)
    print("%d passed, %d failed" % (len(seen) - len(wrong), len(wrong)))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
