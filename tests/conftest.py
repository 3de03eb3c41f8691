"""Shared by all tests: one arithmetic thread per process, since the tests themselves run side by side."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")
