"""The computation: pure functions on quantities, without Django, the database or the clock."""

import os

# Kept with every worksheet: raised whenever the same boxes would be answered differently.
VERSION = "1"

# Read when numpy is first loaded, further down. Our matrices are small: on a busy machine the threads of a matrix
# wait for each other for longer than it takes, ten times and more.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
