"""Long work: done beside the requests, says how far it is, and is stopped when the reader no longer wants it.

A work is stopped between its steps: the step under way is finished first. What it was to keep is kept as a whole at its
end or not at all.
"""

from __future__ import annotations

import logging
import secrets
import time
from collections.abc import Callable
from contextvars import copy_context
from dataclasses import dataclass, replace
from threading import Lock, Thread

from roomfield.errors import RoomfieldError, TooEarlyError

WORKING, DONE, STOPPED, REFUSED = "working", "done", "stopped", "refused"
MOST_AT_ONCE = 6
KEPT_FOR_S = 600.0
"""How long the outcome is kept for whoever asked for it [s]."""
ProgressCall = Callable[[float], None]
Stages = tuple[tuple[float, str], ...]
_log = logging.getLogger("roomfield.web")


class StoppedByReader(Exception):
    """Raised inside a work by its own progress call."""


@dataclass(frozen=True)
class WorkResult:
    """What came of a work: an address to go to, or a file.

    Parameters
    ----------
    next : str
        Where to go; empty for a file.
    """

    next: str = ""
    file_name: str = ""
    media_type: str = ""
    content: bytes = b""


@dataclass(frozen=True)
class Work:
    """How far a work is.

    Parameters
    ----------
    state : str
        ``working``, ``done``, ``stopped`` or ``refused``.
    share : float
        How much of it is done, 0 to 1.
    words : str
        What it does now; English, for the reader's language to be found by.
    fault : RoomfieldError or None
        Why it was refused.
    """

    id: str
    state: str
    share: float
    words: str
    ended_s: float = 0.0
    fault: RoomfieldError | None = None
    outcome: WorkResult | None = None


class LongWorks:
    """The works of one server.

    Parameters
    ----------
    clock : callable
        Seconds that only rise.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._works: dict[str, Work] = {}
        self._unwanted: set[str] = set()
        self._lock = Lock()

    def begin(self, stages: Stages, call: Callable[[ProgressCall], WorkResult]) -> Work:
        """Begin a work in a thread of its own, in the name of whoever asks.

        Parameters
        ----------
        stages : tuple of (float, str)
            What it does from which share on, rising.
        call : callable
            The work; is given what to tell its progress to.

        Raises
        ------
        TooEarlyError
            If too many are under way.
        """
        with self._lock:
            self._forget_old()
            if len([work for work in self._works.values() if work.state == WORKING]) >= MOST_AT_ONCE:
                raise TooEarlyError("too much is being worked on at once.", mend="Wait until something is done.")
            work = Work(secrets.token_urlsafe(16), WORKING, 0.0, stages[0][1])
            self._works[work.id] = work
        context = copy_context()
        Thread(target=context.run, args=(self._run, work.id, stages, call), name="long work", daemon=True).start()
        return work

    def of(self, work_id: str) -> Work | None:
        """How far a work is; None if it is not known or long over."""
        return self._works.get(work_id)

    def stop(self, work_id: str) -> None:
        """Stop a work after the step under way; nothing happens if it is over."""
        with self._lock:
            if work_id in self._works and self._works[work_id].state == WORKING:
                self._unwanted.add(work_id)

    def _run(
        self, work_id: str, stages: tuple[tuple[float, str], ...], call: Callable[[ProgressCall], WorkResult]
    ) -> None:
        def progress(share: float) -> None:
            if work_id in self._unwanted:
                raise StoppedByReader
            words = [said for start, said in stages if start <= share][-1]
            self._put(work_id, share=min(max(share, 0.0), 1.0), words=words)

        try:
            progress(0.0)
            outcome = call(progress)
            self._end(work_id, DONE, outcome=outcome)
        except StoppedByReader:
            self._end(work_id, STOPPED)
        except RoomfieldError as fault:
            self._end(work_id, REFUSED, fault=fault)
        except Exception:
            _log.exception("unforeseen fault in a long work")
            what = "The program met a fault that nobody foresaw. What was saved before is still there."
            self._end(work_id, REFUSED, fault=RoomfieldError(what, mend="Try it again."))

    def _put(self, work_id: str, *, share: float, words: str) -> None:
        with self._lock:
            self._works[work_id] = replace(self._works[work_id], share=share, words=words)

    def _end(
        self, work_id: str, state: str, *, outcome: WorkResult | None = None, fault: RoomfieldError | None = None
    ) -> None:
        with self._lock:
            self._unwanted.discard(work_id)
            ended = replace(self._works[work_id], state=state, outcome=outcome, fault=fault, ended_s=self._clock())
            self._works[work_id] = replace(ended, share=1.0) if state == DONE else ended

    def _forget_old(self) -> None:
        now_s = self._clock()
        kept = {i: w for i, w in self._works.items() if w.state == WORKING or now_s - w.ended_s < KEPT_FOR_S}
        self._works = kept
