"""All compiled loops of the job, made ready before someone waits for them."""

from __future__ import annotations

import logging
from collections.abc import Callable
from threading import Thread

from roomfield import kernel_cache
from roomfield.signals.analysis import warm_up
from roomfield.workbench.notebook import open_demo, plans

TARGET_W_M2 = 1e-3
_log = logging.getLogger("roomfield.workbench")


def compile_all() -> None:
    """Do the job once on the invented home, so that each loop is compiled for just the arrays that it will be given."""
    plans(open_demo(), TARGET_W_M2, at=("sleeping",))
    warm_up()
    kernel_cache.mark_complete()


class FirstCompile:
    """The compilation in a thread of its own; nothing happens if an earlier run has kept everything.

    Parameters
    ----------
    work : callable
        What is done; to be changed by tests alone.
    """

    def __init__(self, work: Callable[[], None] = compile_all) -> None:
        self._work = work
        self._thread: Thread | None = None

    @property
    def running(self) -> bool:
        """Whether something is still being compiled."""
        return self._thread is not None and self._thread.is_alive()

    def start(self, when_done: Callable[[], None]) -> bool:
        """Begin, unless everything is there.

        Parameters
        ----------
        when_done : callable
            Called at the end, in the thread.

        Returns
        -------
        bool
            Whether there is something to compile.
        """
        if kernel_cache.is_complete():
            return False
        self._thread = Thread(target=self._run, args=(when_done,), name="first compile", daemon=True)
        self._thread.start()
        return True

    def _run(self, when_done: Callable[[], None]) -> None:
        try:
            self._work()
        except Exception:
            _log.exception("the loops could not be compiled ahead; each is compiled when it is first needed")
        when_done()
