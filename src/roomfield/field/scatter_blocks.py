"""Readings that scatter together: blocks of a covariance matrix that is nought elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csr_array
from scipy.sparse.csgraph import connected_components

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


def scattering_together(scan: Indices, site: Indices) -> tuple[Indices, ...]:
    """Indices of rows linked by a common scan or site, blocks of one size in one array of shape (blocks, size)."""
    n = len(scan)
    if not n:
        return ()
    scans = int(scan.max()) + 1
    ends = n + np.concatenate([scan, scans + site])
    links = coo_array((np.ones(2 * n), (np.tile(np.arange(n), 2), ends)), shape=(int(ends.max()) + 1,) * 2)
    label = connected_components(links, directed=False)[1][:n]
    order = np.argsort(label, kind="stable")
    _, first, count = np.unique(label[order], return_index=True, return_counts=True)
    return tuple(
        order[first[count == size][:, None] + np.arange(size)].astype(np.int64) for size in np.unique(count).tolist()
    )


@dataclass(frozen=True, eq=False)
class BlockMatrix:
    """A square matrix that is nought but for blocks.

    Parameters
    ----------
    size : int
        Rows and columns.
    blocks : tuple of ndarray of int, each shape (blocks, n)
        Rows and columns of the blocks, those of one size together.
    tables : tuple of ndarray, each shape (blocks, n, n)
        What stands there.
    """

    size: int
    blocks: tuple[Indices, ...]
    tables: tuple[Array, ...]

    def __matmul__(self, right: Array) -> Array:
        """Product with a table of shape (size, n)."""
        found = np.zeros((self.size, right.shape[1]))
        for block, table in zip(self.blocks, self.tables, strict=True):
            found[block] = table @ right[block]
        return found

    @property
    def transposed(self) -> BlockMatrix:
        """Rows as columns."""
        return BlockMatrix(self.size, self.blocks, tuple(np.swapaxes(t, 1, 2) for t in self.tables))

    @property
    def column_squares(self) -> Array:
        """Sum of squares of each column, shape (size,)."""
        found = np.zeros(self.size)
        for block, table in zip(self.blocks, self.tables, strict=True):
            found[block] = np.sum(table**2, axis=1)
        return found

    def sparse(self) -> csr_array:
        """The same as a sparse array."""
        rows = [np.repeat(b, b.shape[1], axis=1).reshape(-1) for b in self.blocks]
        columns = [np.tile(b, b.shape[1]).reshape(-1) for b in self.blocks]
        at = tuple(np.concatenate([np.zeros(0, dtype=np.int64), *side]) for side in (rows, columns))
        values = np.concatenate([np.zeros(0), *(t.reshape(-1) for t in self.tables)])
        return csr_array((values, at), shape=(self.size, self.size))
