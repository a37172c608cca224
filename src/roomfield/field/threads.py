"""Linear algebra on one thread: the matrices here are small, and threads cost more in waiting than they save."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import ThreadpoolController

P = ParamSpec("P")
R = TypeVar("R")


@cache
def _libraries() -> ThreadpoolController:
    return ThreadpoolController()


def on_one_thread(function: Callable[P, R]) -> Callable[P, R]:
    """A function that runs with one thread in the linear algebra libraries; what was set before is set again after."""

    @wraps(function)
    def limited(*args: P.args, **kwargs: P.kwargs) -> R:
        with _libraries().limit(limits=1, user_api="blas"):
            return function(*args, **kwargs)

    return limited
