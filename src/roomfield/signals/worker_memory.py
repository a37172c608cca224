"""Memory of worker processes.

Hearing one block makes some hundred arrays of a megabyte or more. The C library hands each back to the system when it is freed
and fetches fresh, zeroed pages for the next, which takes a third of the time. A worker that does nothing else keeps them.
"""

from __future__ import annotations

import ctypes
import sys

TRIM_THRESHOLD, MMAP_THRESHOLD = -1, -3  # names of the two settings in glibc's malloc.h
KEPT_BYTES = 512 * 2**20
LARGEST_KEPT_BYTES = 32 * 2**20


def keep_freed_memory() -> bool:
    """Let freed arrays be used again in this process; says whether the C library knows how to."""
    if sys.platform != "linux":
        return False
    setting = getattr(ctypes.CDLL(None), "mallopt", None)
    if setting is None:
        return False
    done = [setting(MMAP_THRESHOLD, LARGEST_KEPT_BYTES), setting(TRIM_THRESHOLD, KEPT_BYTES)]
    return all(done)
