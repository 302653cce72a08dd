#!/usr/bin/env python3
"""Examples of README.md: runs each command of its console blocks and compares
or rewrites what follows.

  tools/readme.py check   exit 1 when an example's output differs
  tools/readme.py write   puts the real output into README.md

A console block is fenced by ```console; a line that starts with "$ " is a
command run from the top folder (build/spanwright is the program under test),
what follows until the next one is its output (stdout and stderr).
"""

import difflib
import os
import re
import subprocess
import sys

README = "README.md"
FENCE = re.compile(r"^```console\n(.*?)^```$", re.S | re.M)


def run(command):
    program = os.environ.get("SPANWRIGHT", "build/spanwright")
    shown = re.sub(r"(^|[\s|])build/spanwright\b", lambda m: m.group(1) + program, command)
    env = dict(os.environ, NO_COLOR="1", LC_ALL="C")
    done = subprocess.run(["sh", "-c", shown], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=env)
    return done.stdout.decode("utf-8", "replace")


def renew(block):
    out = []
    for line in block.splitlines():
        if line.startswith("$ "):
            out.append(line + "\n" + run(line[2:]))
    return "".join(out)


def main():
    if len(sys.argv) != 2 or sys.argv[1] not in ("check", "write"):
        sys.exit(__doc__)
    with open(README, encoding="utf-8") as file:
        old = file.read()
    blocks = FENCE.findall(old)
    new = FENCE.sub(lambda m: "```console\n" + renew(m.group(1)) + "```", old)
    if sys.argv[1] == "write":
        with open(README, "w", encoding="utf-8") as file:
            file.write(new)
        return
    good = new == old and len(blocks) > 0
    if not good:
        sys.stdout.writelines(
            difflib.unified_diff(old.splitlines(True), new.splitlines(True), "README.md", "what it prints now")
        )
        print("README examples differ: look, then run tools/readme.py write")
    print("%d passed, %d failed" % (len(blocks) if good else 0, 0 if good else 1))
    sys.exit(0 if good else 1)


main()
