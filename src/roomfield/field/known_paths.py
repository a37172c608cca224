"""What arrives by all paths hangs on no reading: what was worked out for some points and an emitter is kept.

A column of a table (all points, one emitter) depends on the scene, the points, the emitter's place and wave, the order
of reflections and the end whose images are built, on nothing else; kept by the content of these, it is the same to the
last bit as if it were worked out again. One more reading, another draw of candidate positions or one dragged emitter
then costs the new columns alone.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from hashlib import blake2b
from threading import Lock

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
MOST_BYTES = 48_000_000
"""Of all columns kept; one question that alone takes a quarter of it is not kept."""


class KnownColumns:
    """Columns of tables that were worked out before, those not asked for longest forgotten first.

    Parameters
    ----------
    most_bytes : int
        Of all columns together.
    """

    def __init__(self, most_bytes: int = MOST_BYTES) -> None:
        self.most_bytes = most_bytes
        self._tables: OrderedDict[Hashable, dict[Hashable, Array]] = OrderedDict()
        self._bytes = 0
        self._turn = Lock()

    def table(self, question: Hashable, columns: Sequence[Hashable], work: Callable[[list[int]], Array]) -> Array:
        """A table of which only the columns not yet known are worked out.

        Parameters
        ----------
        question : hashable
            All that the table depends on but its columns.
        columns : sequence of hashable
            What each column depends on.
        work : callable
            Gives the columns of some indices, shape (n, as many).

        Returns
        -------
        ndarray, shape (n, len(columns))
        """
        with self._turn:
            known = dict(self._tables.get(question, {}))
        first = {name: n for n, name in reversed(list(enumerate(columns))) if name not in known}
        if len(first) == len(columns):
            found = work(list(range(len(columns))))
            self._keep(question, {name: found[:, n].copy() for name, n in first.items()})
            return found
        fresh: dict[Hashable, Array] = {}
        if first:
            index = sorted(first.values())
            found = work(index)
            fresh = {columns[n]: found[:, k].copy() for k, n in enumerate(index)}
        self._keep(question, fresh)
        known.update(fresh)
        return np.stack([known[name] for name in columns], axis=1)

    def _keep(self, question: Hashable, fresh: dict[Hashable, Array]) -> None:
        size = sum(column.nbytes for column in fresh.values())
        if size > self.most_bytes // 4:
            return
        with self._turn:
            table = self._tables.setdefault(question, {})
            self._tables.move_to_end(question)
            self._bytes += sum(column.nbytes for name, column in fresh.items() if name not in table)
            table.update(fresh)
            while self._bytes > self.most_bytes:
                _, oldest = self._tables.popitem(last=False)
                self._bytes -= sum(column.nbytes for column in oldest.values())


KNOWN = KnownColumns()


def content_of(*tables: NDArray[np.generic], said: str = "") -> bytes:
    """Digest of the content of some tables, and of what is said of them in words, 16 bytes."""
    digest = blake2b(said.encode("utf-8"), digest_size=16)
    for table in tables:
        digest.update(f"{table.dtype}{table.shape}".encode("ascii"))
        digest.update(np.ascontiguousarray(table).data)
    return digest.digest()
