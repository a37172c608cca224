"""Freed arrays stay with a worker: asked of the C library itself, in fresh processes."""

import ctypes
import json
import platform
import subprocess
import sys

import pytest

from roomfield.signals.worker_memory import keep_freed_memory

ARRAY_BYTES = 16 * 2**20
ASKED_OF_MALLOC = """
import ctypes, json, sys
import numpy as np
from roomfield.signals.worker_memory import keep_freed_memory

NAMES = "arena ordblks smblks hblks hblkhd usmblks fsmblks uordblks fordblks keepcost"
class Held(ctypes.Structure):
    _fields_ = [(name, ctypes.c_size_t) for name in NAMES.split()]
state = ctypes.CDLL(None).mallinfo2
state.restype = Held

known = keep_freed_memory() if sys.argv[2] == "keep" else None
before = state().hblks
array = np.ones(int(sys.argv[1]) // 8)
mapped = state().hblks - before
total = float(array.sum())
del array
print(json.dumps({"known": known, "mapped": mapped, "total": total, "kept": state().fordblks}))
"""


def after_one_array(how: str) -> dict:
    ran = subprocess.run(
        [sys.executable, "-c", ASKED_OF_MALLOC, str(ARRAY_BYTES), how], capture_output=True, text=True, check=True
    )
    return json.loads(ran.stdout)


@pytest.mark.published("glibc manual: malloc tunable parameters M_TRIM_THRESHOLD, M_MMAP_THRESHOLD; mallinfo2(3)")
@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library")
@pytest.mark.skipif(not hasattr(ctypes.CDLL(None), "mallinfo2"), reason="glibc before 2.33 counts in 32 bits")
def test_a_worker_keeps_what_it_freed():
    usual, keeping = after_one_array("as it comes"), after_one_array("keep")
    assert usual["total"] == keeping["total"] == ARRAY_BYTES / 8
    assert (usual["known"], keeping["known"]) == (None, True)
    assert (usual["mapped"], keeping["mapped"]) == (1, 0)  # pages of its own, given back with the array; from the heap
    assert usual["kept"] < ARRAY_BYTES <= keeping["kept"]


def test_other_systems_are_left_alone(monkeypatch):
    monkeypatch.setattr("sys.platform", "win32")
    assert keep_freed_memory() is False
