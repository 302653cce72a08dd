#!/usr/bin/env python3
"""Runs a command with standard output and error on a pseudo terminal and
prints what it wrote there; exits with its status."""
import os
import subprocess
import sys

import pty

master, slave = pty.openpty()
process = subprocess.Popen(sys.argv[1:], stdout=slave, stderr=slave)
os.close(slave)
seen = b""
while True:
    try:
        part = os.read(master, 65536)
    except OSError:
        break
    if not part:
        break
    seen += part
sys.stdout.buffer.write(seen.replace(b"\r\n", b"\n"))
sys.exit(process.wait())
