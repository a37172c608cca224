"""How much of a 20 ms course the published frames of LTE and NR explain, within the band of a telephone's line.

Every model is a few columns of free height: what a frame of that kind always has (synchronisation, broadcast, reference
signals), where control begins each slot, and which subframes or slots may carry power at all. The share of the course's
power that a model explains at its best phase uses the lines from 300 Hz to 3.4 kHz only, so that it means the same for
every recording; positions follow TS 36.211 clauses 4.2 and 6.6 to 6.11, TS 38.211 clause 7.4.3 and TS 38.213 clause 4.1.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.folding import CRS_SYMBOLS, SYMBOL_S
from roomfield.signals.symbol_grid import LAYOUTS

F64 = NDArray[np.float64]
F32 = NDArray[np.float32]
C128 = NDArray[np.complex128]
Box = tuple[float, float]

PERIOD_S = 0.02
LINES = np.arange(6, 69)
TURNS = 272
NR_PATTERNS = ("DDDSU", "DDSU", "DDDDDDDSUU", "DDDSUDDSUU", "DSUUU", "DDDDDDSUUU")
SPECIAL_SYMBOLS = 10
SYNC_BLOCK = 4
SYNC_PERIODS_S = (0.02, 0.01, 0.005)


def _column(boxes: list[Box]) -> C128:
    """Fourier coefficients, on ``LINES``, of boxes (start, width) [s]."""
    starts, widths = np.array(boxes).T
    orders = LINES[:, None] / PERIOD_S
    return np.asarray(
        (widths * np.sinc(orders * widths) * np.exp(-2j * np.pi * orders * (starts + widths / 2))).sum(1), np.complex128
    )


def _symbols(subframe: int, first: int, count: int = 1) -> Box:
    return subframe * 1e-3 + first * SYMBOL_S, count * SYMBOL_S


def _lte(layout: str) -> list[C128]:
    """Columns of one layout of subframes: synchronisation, broadcast, references, control, system information, load."""
    divided = "U" in layout
    letters = layout * 2
    lengths = {"D": 14, "S": SPECIAL_SYMBOLS, "U": 0}
    sync = [_symbols(n, 13) for n in range(0, 20, 5)] + [_symbols(n, 2) for n in range(1, 20, 5)]
    on = [(n, lengths[letter]) for n, letter in enumerate(letters) if letter != "U"]
    columns = [
        _column(sync if divided else [_symbols(n, 5, 2) for n in range(0, 20, 5)]),
        _column([_symbols(n, 7, 4) for n in (0, 10)]),
        _column([_symbols(n, s) for n, length in on for s in CRS_SYMBOLS if s < length]),
        _column([_symbols(n, 0) for n, _ in on]),
        _column([_symbols(5, 2, 12)]),
    ]
    return [*columns, _column([_symbols(n, 0, length) for n, length in on])] if divided else columns


def _sync_blocks(slot_s: float, every_s: float = PERIOD_S) -> list[C128]:
    """Up to four synchronisation blocks of free height: symbols 2 and 8 of the first two slots of every period."""
    symbol = slot_s / 14
    begins = np.arange(0.0, PERIOD_S - 1e-6, every_s)
    return [
        _column([(begin + (14 * slot + at) * symbol, SYNC_BLOCK * symbol) for begin in begins])
        for slot in (0, 1)
        for at in (2, 8)
    ]


def _nr_divided(pattern: str) -> list[C128]:
    slot, symbol = 0.5e-3, 0.5e-3 / 14
    letters = (pattern * 40)[:40]
    lengths = {"D": 14, "S": SPECIAL_SYMBOLS, "U": 0}
    on = [(n * slot, lengths[letter]) for n, letter in enumerate(letters) if letter != "U"]
    load = [_column([(at, length * symbol) for at, length in on]), _column([(at, symbol) for at, _ in on])]
    return [*_sync_blocks(slot), *load]


def _nr_fdd() -> list[C128]:
    """Synchronisation blocks in slots of 1 ms, whose first symbols carry control and symbols 2 and 11 references."""
    control = _column([_symbols(n, 0) for n in range(20)])
    return [*_sync_blocks(1e-3), control, _column([_symbols(n, s) for n in range(20) for s in (2, 11)])]


@lru_cache(maxsize=1)
def _models() -> tuple[F32, list[tuple[str, int]]]:
    """Orthonormal columns of all models side by side (real over imaginary parts), and each model's kind and count."""
    kinds = [("lte_fdd", _lte("D" * 10)), *(("lte_tdd", _lte(layout)) for layout in LAYOUTS)]
    kinds += [("nr_tdd", _nr_divided(pattern)) for pattern in NR_PATTERNS]
    kinds.append(("nr_fdd", _nr_fdd()))
    kinds += [("sync30", _sync_blocks(0.5e-3, every)) for every in SYNC_PERIODS_S]
    kinds += [("sync15", _sync_blocks(1e-3, every)) for every in SYNC_PERIODS_S]
    bases = []
    for _, columns in kinds:
        stacked = np.stack(columns, axis=1)
        bases.append(np.linalg.qr(np.concatenate([stacked.real, stacked.imag]))[0])
    return np.concatenate(bases, axis=1).astype(np.float32), [(kind, len(columns)) for kind, columns in kinds]


@lru_cache(maxsize=1)
def _turns() -> C128:
    return np.asarray(np.exp(2j * np.pi * np.arange(TURNS)[:, None] * LINES / TURNS))


def frame_model_numbers(frame: F64) -> dict[str, float]:
    """Share of the 20 ms course's power between 300 Hz and 3.4 kHz that each kind of frame explains, and the leads.

    Parameters
    ----------
    frame : ndarray, shape (bins,)
        Mean course of 20 ms; at least 138 bins.
    """
    lines = np.fft.rfft(frame)[LINES]
    power = float((np.abs(lines) ** 2).sum()) + 1e-30
    turned = _turns() * (lines / np.sqrt(power))
    basis, models = _models()
    fits = np.concatenate([turned.real, turned.imag], axis=1).astype(np.float32) @ basis
    ends = np.cumsum([count for _, count in models])
    shares = np.add.reduceat(fits**2, np.r_[0, ends[:-1]], axis=1)
    best: dict[str, float] = {}
    for (kind, _), share in zip(models, shares.max(0), strict=True):
        best[kind] = max(best.get(kind, 0.0), float(share))
    out = {f"model.{kind}": share for kind, share in best.items()}
    out["model.lte_nr"] = max(best["lte_fdd"], best["lte_tdd"]) - max(best["nr_fdd"], best["nr_tdd"])
    out["model.lte"] = best["lte_fdd"] - best["lte_tdd"]
    out["model.nr"] = best["nr_fdd"] - best["nr_tdd"]
    return out
