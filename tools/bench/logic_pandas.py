"""Pulses of each 0/1 column of a table, time in seconds: logic_pandas.py FILE"""
import sys

import numpy as np
import pandas as pd
from figures import show

table = pd.read_csv(sys.argv[1])
time = table.iloc[:, 0].to_numpy()
for name in table.columns[1:]:
    step = np.diff(table[name].to_numpy())
    show(name, time[np.flatnonzero(step > 0) + 1], time[np.flatnonzero(step < 0) + 1])
