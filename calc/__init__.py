"""What is measured and computed on a job: readings, and the engine that understands quantities."""

import os

# Read when numpy is first loaded, by pint, further down. Our matrices are small: on a busy machine the threads that
# share one wait for each other ten times longer than it takes.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
