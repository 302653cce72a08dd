#!/bin/sh
# The README's examples print what the README says.
exec tools/readme.py check
