"""Pulses of a line in volts, time in seconds, crossings of the middle level by
straight lines between the rows: volts_pandas.py FILE"""
import sys

import numpy as np
import pandas as pd
from figures import show

table = pd.read_csv(sys.argv[1])
time = table.iloc[:, 0].to_numpy()
volts = table.iloc[:, 1].to_numpy()
middle = (volts.min() + volts.max()) / 2
high = volts > middle
at = np.flatnonzero(high[1:] != high[:-1])
share = (middle - volts[at]) / (volts[at + 1] - volts[at])
crossing = time[at] + share * (time[at + 1] - time[at])
show("line", crossing[~high[at]], crossing[high[at]])
