"""What holds for every test: workers that run side by side leave the cores to each other."""

from __future__ import annotations

import os

os.environ["ROOMFIELD_REFERENCES"] = os.devnull
"""No test reads tables of whoever runs it."""

os.environ["LC_ALL"] = "C.UTF-8"
os.environ.pop("ROOMFIELD_LANGUAGE", None)
"""The commands speak English unless a test asks for another language."""

if "PYTEST_XDIST_WORKER" in os.environ:
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
