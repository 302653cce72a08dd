#!/bin/sh
# About 100 runs answer as before, byte for byte.
exec python3 -B tests/outputs/test_outputs.py
