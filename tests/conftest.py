"""What holds for every test: workers that run side by side leave the cores to each other."""

from __future__ import annotations

import os

if "PYTEST_XDIST_WORKER" in os.environ:
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
