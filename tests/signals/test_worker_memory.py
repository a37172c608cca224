"""Freed arrays stay with a worker: fewer page faults, the same numbers."""

import platform
import resource
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pytest

from roomfield.signals.worker_memory import keep_freed_memory


def faults_of_fresh_arrays(_):
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    total = 0.0
    for _ in range(3):
        total += sum(float(array.sum()) for array in [np.ones(500_000) for _ in range(30)])
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before, total


@pytest.mark.published("glibc manual, malloc tunable parameters: M_TRIM_THRESHOLD, M_MMAP_THRESHOLD")
@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library")
def test_a_worker_keeps_what_it_freed():
    with ProcessPoolExecutor(1) as plain, ProcessPoolExecutor(1, initializer=keep_freed_memory) as keeping:
        usual, total = list(plain.map(faults_of_fresh_arrays, range(2)))[1]
        fewer, same = list(keeping.map(faults_of_fresh_arrays, range(2)))[1]
    assert total == same == 90 * 500_000
    assert usual > 10_000
    assert fewer < 0.1 * usual


def test_other_systems_are_left_alone(monkeypatch):
    monkeypatch.setattr("sys.platform", "win32")
    assert keep_freed_memory() is False
