"""Text logs that are plain to the letter: read in blocks by compiled loops, without a database and a scratch file."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from roomfield.logs import text_kernels
from roomfield.logs.mapping import Mapping

Text = tuple[NDArray[np.uint8], int]
"""Letters with zeros beyond, and where the last line ends."""

Columns = tuple[NDArray[np.int64], NDArray[np.float64]]

_BLOCK_BYTES = 1 << 22
_BEYOND = 64
_NEWLINE = 10
_SHORTEST_ROW = 17
"""Bytes of the shortest row that fits: a stamp of sixteen letters, a delimiter, a digit, less the last line's end."""
_AHEAD = 3


class NotPlainError(Exception):
    """A cell does not fit to the letter; never leaves the ingest, which then reads the file cell by cell."""


@dataclass(frozen=True)
class PlainText:
    """A text file whose mapping asks for nothing but a stamp and a number in each row.

    Parameters
    ----------
    source : Path
        The file.
    skip : int
        Lines before the first row.
    columns, marks, form : ndarray of int
        As `text_kernels.rows` takes them.
    """

    source: Path
    skip: int
    columns: NDArray[np.int64]
    marks: NDArray[np.int64]
    form: NDArray[np.int64]

    @staticmethod
    def of(source: Path, mapping: Mapping) -> PlainText | None:
        """The file under a mapping, or None if its mapping or its form asks for more."""
        layout, form = mapping.layout, text_kernels.form_of(mapping.time_form)
        beside = mapping.unit_column or mapping.status_column or mapping.units_in_values
        if layout.form != "text" or layout.encoding == "utf-16" or form is None or beside:
            return None
        if len(mapping.time_columns) != 1 or mapping.decimal not in (".", ",") or mapping.decimal == layout.delimiter:
            return None
        with source.open("rb") as stream:
            if stream.read(2) == b"\x1f\x8b":
                return None
        places = [layout.columns.index(name) for name in (mapping.time_columns[0], mapping.value_column)]
        marks = [ord(layout.delimiter), ord(mapping.decimal)]
        return PlainText(
            source, layout.first_row, np.array([len(layout.columns), *places]), np.array(marks), np.asarray(form)
        )

    def ends(self) -> tuple[int, int]:
        """First and last stamp of the file as written [µs].

        Raises
        ------
        NotPlainError
            If these rows do not fit.
        """
        with self.source.open("rb") as stream:
            self._skip_head(stream)
            first = stream.readline()
            size = stream.seek(0, os.SEEK_END)
            stream.seek(max(0, size - 4096))
            last = stream.read().rstrip(b"\r\n").rsplit(b"\n", 1)[-1]
        stamps = [self._read(_lettered(line.rstrip(b"\r\n") + b"\n"))[0] for line in (first, last)]
        return int(stamps[0][0]), int(stamps[1][0])

    def blocks(self) -> Iterator[Columns]:
        """Stamps [µs, as written] and numbers, in the order of the file; blocks are read side by side.

        Raises
        ------
        NotPlainError
            At the first row that does not fit.
        """
        waiting: deque[Future[Columns]] = deque()
        with ThreadPoolExecutor(min(_AHEAD, os.cpu_count() or 1)) as pool:
            try:
                for text in self._texts():
                    waiting.append(pool.submit(self._read, text))
                    if len(waiting) > _AHEAD:
                        yield waiting.popleft().result()
                while waiting:
                    yield waiting.popleft().result()
            finally:
                for future in waiting:
                    future.cancel()

    def _skip_head(self, stream: BinaryIO) -> None:
        for _ in range(self.skip):
            stream.readline()

    def _texts(self) -> Iterator[Text]:
        """Whole lines, some megabytes at a time."""
        rest = np.empty(0, np.uint8)
        with self.source.open("rb") as stream:
            self._skip_head(stream)
            while True:
                letters = np.empty(rest.size + _BLOCK_BYTES + _BEYOND, np.uint8)
                letters[: rest.size] = rest
                got = stream.readinto(letters[rest.size : -_BEYOND].data)
                end = rest.size + got
                if not got:
                    break
                cut = _after_last_line(letters, end)
                rest = letters[cut:end].copy()
                letters[end:] = 0
                if cut:
                    yield letters, cut
        if rest.tobytes().strip(b"\r\n"):
            yield _lettered(rest.tobytes() + b"\n")

    def _read(self, text: Text) -> Columns:
        letters, end = text
        room = end // _SHORTEST_ROW + 1
        t, value = np.empty(room, np.int64), np.empty(room)
        found = text_kernels.rows(letters, end, self.columns, self.marks, self.form, t, value)
        if found < 0:
            raise NotPlainError
        return t[:found], value[:found]


def _lettered(text: bytes) -> Text:
    return np.frombuffer(text + bytes(_BEYOND), np.uint8).copy(), len(text)


def _after_last_line(letters: NDArray[np.uint8], end: int) -> int:
    """Where the last whole line ends; 0 if there is none."""
    step = 1 << 12
    for stop in range(end, 0, -step):
        found = np.flatnonzero(letters[max(0, stop - step) : stop] == _NEWLINE)
        if found.size:
            return max(0, stop - step) + int(found[-1]) + 1
    return 0
