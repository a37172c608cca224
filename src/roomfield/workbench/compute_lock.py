"""One heavy calculation at a time: a server asked for several parts of a page at once works them out in turn.

The model's kernels use all cores by themselves and not every threading layer under them may be entered twice;
and what one part has inferred, the next one finds ready.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from threading import RLock
from typing import ParamSpec, TypeVar

_Given = ParamSpec("_Given")
_Result = TypeVar("_Result")
_TURN = RLock()


def in_turn(function: Callable[_Given, _Result]) -> Callable[_Given, _Result]:
    """The same function, run while no other function so marked runs in another thread.

    Parameters
    ----------
    function : callable
        A heavy calculation.
    """

    @wraps(function)
    def waiting(*given: _Given.args, **named: _Given.kwargs) -> _Result:
        with _TURN:
            return function(*given, **named)

    return waiting
