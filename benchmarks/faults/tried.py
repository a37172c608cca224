"""What was tried and what failed, and forked children to try it in."""

from __future__ import annotations

import os
import pickle
import resource
import signal
import sys
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

LONGEST_S = 20
MOST_BYTES = 2**30


@dataclass
class Tried:
    """One kind of fault.

    Parameters
    ----------
    name : str
        In words.
    count : int
        How often it was tried.
    failures : list of str
        One line for each failure.
    notes : dict of str to int
        How often it ended in which way.
    """

    name: str
    count: int = 0
    failures: list[str] = field(default_factory=list)
    notes: dict[str, int] = field(default_factory=dict)

    def note(self, word: str) -> None:
        """Count one way of ending."""
        self.notes[word] = self.notes.get(word, 0) + 1


def in_child(work: Callable[[], Any], longest_s: int = LONGEST_S) -> tuple[str, Any]:
    """Do a piece of work in a forked child.

    Returns
    -------
    (str, object)
        ``done`` and the result; ``raised`` and one line; ``killed`` and the signal.
    """
    reader, writer = os.pipe()
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        os.close(reader)
        try:
            signal.alarm(longest_s)
            answer = ("done", work())
        except BaseException as fault:
            where = traceback.extract_tb(fault.__traceback__)[-1]
            answer = (
                "raised",
                f"{type(fault).__name__}: {str(fault)[:160]} ({Path(where.filename).name}:{where.lineno})",
            )
        with os.fdopen(writer, "wb") as pipe:
            pickle.dump(answer, pipe)
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader, "rb") as pipe:
        content = pipe.read()
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        number = os.WTERMSIG(status)
        return "killed", "over 20 s" if number == signal.SIGALRM else signal.Signals(number).name
    answered: tuple[str, Any] = pickle.loads(content) if content else ("killed", "no answer")
    return answered


def peak_bytes() -> int:
    """Most memory that this process has held [byte]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
