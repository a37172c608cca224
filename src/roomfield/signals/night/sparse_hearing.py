"""Which technologies a night holds: the ear on a sparse choice of pieces, for hearing all of it costs more than it tells."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.analysis import analyse
from roomfield.signals.long_recordings import choose, sketch
from roomfield.signals.recording import AudioSource, open_source

SKETCHED = 160
"""Pieces of some 16 s, evenly spread, whose loudness and peakedness is looked at ..."""
PIECES = 19
"""... and of these the ones that are heard in full: half evenly spread, half those that differ most. Up to nineteen, a
technology has to show in two of them; beyond, the ear asks for three."""


def heard_in_night(
    recording: str | Path | NDArray[np.floating], channel: int = 0, *, sample_rate_hz: float | None = None
) -> tuple[str, ...]:
    """Names of the technologies heard in a recording of any length.

    Parameters
    ----------
    recording : path or ndarray, shape (n,) or (n, channels)
    channel : int
        Which channel, from 0.
    sample_rate_hz : float, optional
        Rate of samples given as an array [Hz].

    Raises
    ------
    InputError, FormatError, RangeError
        If the recording cannot be used.
    """
    source = open_source(recording, sample_rate_hz)
    cuts = night_pieces(source)
    pieces = np.empty(sum(b - a for a, b in cuts), np.float32)
    filled = 0
    for cut in cuts:
        piece = _piece(source, cut, channel)
        pieces[filled : filled + len(piece)] = piece
        filled += len(piece)
    found = analyse(pieces[:filled], sample_rate_hz=source.sample_rate_hz, processes=1)
    return tuple(heard.name for heard in found.claimed)


def night_pieces(source: AudioSource) -> tuple[tuple[int, int], ...]:
    """First and last sample of the pieces to hear, all of one length."""
    cuts = source.cuts()
    looked_at = [cuts[i] for i in np.unique(np.linspace(0, len(cuts) - 1, SKETCHED).round().astype(int))]
    if len(looked_at) <= PIECES:
        return tuple(looked_at)
    chosen = choose(np.array([sketch(cut, source) for cut in looked_at]), PIECES)
    length = min(b - a for a, b in looked_at)
    return tuple((looked_at[i][0], looked_at[i][0] + length) for i in chosen)


def _piece(source: AudioSource, cut: tuple[int, int], channel: int) -> NDArray[np.float32]:
    data = source.read(*cut)
    return np.asarray(data if data.ndim == 1 else data[:, min(channel, data.shape[1] - 1)], np.float32)
