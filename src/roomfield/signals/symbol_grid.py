"""Grids of OFDM symbols and slots held against what repeats every frame, and against where the power changes.

Reference signals of LTE stand in symbols 0, 4, 7 and 11 of every downlink subframe, those of further ports in 1 and 8
(TS 36.211 clause 6.10.1.2); NR has none that are always on, and its slots begin with control and carry their
demodulation references in symbols 2 and 11 (TS 38.211 clause 7.4.1.1.2). The fits are made on the lines that the recording's
band lets through, with the phase of the grid searched, so that a telephone's line leaves a meaning to them.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_kernels import fold_blocks

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
C128 = NDArray[np.complex128]

STEP_S = 1.5e-4
STEP_BINS = 480
STEP_RATE_HZ = 24000.0
SECOND_BEST = 8
TURNS = 56
MOST_LINES = 14
GRIDS: dict[str, tuple[tuple[float, ...], ...]] = {
    "references": ((0, 4, 7, 11),),
    "control": ((0, 4, 7, 11), (0,)),
    "ports": ((0, 4, 7, 11), (0,), (1, 8)),
    "slot15": ((0,), (2, 11)),
    "slot30": ((0, 7), (1, 5.5, 8, 12.5)),
}
HALF_SYMBOLS = ("slot30",)
LAYOUTS = ("DSUUUDSUUU", "DSUUDDSUUD", "DSUDDDSUDD", "DSUUUDDDDD", "DSUUDDDDDD", "DSUDDDDDDD", "DSUUUDSUUD")
SPECIAL_SHARE = 0.7
EVERY = {"20ms": 1, "10ms": 2, "5ms": 4, "2.5ms": 8, "2ms": 10, "1ms": 20, "0.5ms": 40}
STEP_EDGES_HZ = (50.0, 900.0, 3400.0, 10000.0)
GUARD_PPM = 100e-6
GUARD_FLANK_HZ, GUARD_REACH_HZ = 20.0, 300.0


def course_of_changes(samples: F32, sample_rate_hz: float, period_s: float, mean_course: F64) -> F64:
    """Power of the change within 0.15 ms by phase of a period, less that of the mean course: where chance switches.

    Data come and go with the slots, whatever the single slot carries; the steps they make gather on the slots' edges.
    """
    lag = max(1, round(STEP_S * sample_rate_hz))
    stride = max(1, int(sample_rate_hz / STEP_RATE_HZ))
    change = samples[lag::stride] - samples[:-lag:stride]
    change *= change
    limit = np.float32(np.quantile(change[:: max(1, change.size // 10000)], 0.998))
    step = stride / (period_s * sample_rate_hz)
    sums, counts = (a[0] for a in fold_blocks(np.minimum(change, limit, out=change), step, STEP_BINS, 1))
    seen, at = counts > 0.25 * counts.max(), np.arange(STEP_BINS)
    course = np.interp(at, at[seen], sums[seen] / counts[seen], period=STEP_BINS)
    mean = mean_course.reshape(STEP_BINS, -1).mean(1)
    steady = (np.roll(mean, -round(lag / sample_rate_hz * STEP_BINS / period_s)) - mean) ** 2
    return np.asarray(course - steady)


@lru_cache(maxsize=16)
def _bases(lines: int) -> F64:
    """Orthonormal columns of all grids' lines, real parts over imaginary parts: ``[2 * lines, turn * columns]``."""
    order = np.arange(1, lines + 1)
    turns = np.exp(-2j * np.pi * order[None, :] * np.arange(TURNS)[:, None] / TURNS)
    bases = []
    for name, grid in GRIDS.items():
        width = 1 / 28 if name in HALF_SYMBOLS else 1 / 14
        columns = [
            sum(np.exp(-2j * np.pi * order * (at / 14 + width / 2)) for at in symbols) * np.sinc(order * width)
            for symbols in grid
        ]
        turned = np.stack([turns * column for column in columns], axis=2)
        bases.append(np.linalg.qr(np.concatenate([turned.real, turned.imag], axis=1))[0])
    return np.ascontiguousarray(np.concatenate(bases, axis=2).transpose(1, 0, 2).reshape(2 * lines, -1))


GRID_STARTS = np.cumsum([0, *(len(grid) for grid in GRIDS.values())])[:-1]


def grid_fits(rows: C128) -> dict[str, tuple[float, int]]:
    """Share of the power of a course of 1 ms that each grid explains at its best phase, and that phase [1/56 ms].

    Parameters
    ----------
    rows : ndarray of complex, shape (m, k)
        Fourier coefficients of ``m`` courses at 1, 2 .. k kHz. Of ten, those of the subframes, the second best share counts at
        a phase common to all: those that synchronisation, broadcast or an uplink disturbs may fit badly.
    """
    parts = np.concatenate([rows.real, rows.imag], axis=1)
    fits = (parts @ _bases(rows.shape[1])).reshape(rows.shape[0], TURNS, -1)
    shares = np.add.reduceat(fits**2, GRID_STARTS, axis=2) / ((parts**2).sum(1)[:, None, None] + 1e-30)
    chosen = shares[0] if rows.shape[0] == 1 else np.partition(shares, SECOND_BEST, axis=0)[SECOND_BEST]
    best = chosen.argmax(0)
    return {name: (float(chosen[turn, i]), int(turn)) for i, (name, turn) in enumerate(zip(GRIDS, best, strict=True))}


@lru_cache(maxsize=1)
def _layouts() -> F64:
    """The layouts of time division at every turn, as unit vectors of mean zero ``[70, 10]``."""
    level = {"D": 1.0, "S": SPECIAL_SHARE, "U": 0.0}
    rows = np.array([np.roll([level[c] for c in text], turn) for text, turn in product(LAYOUTS, range(10))])
    rows -= rows.mean(1, keepdims=True)
    return np.asarray(rows / np.linalg.norm(rows, axis=1, keepdims=True))


def layout_fit(levels: F64) -> tuple[float, float]:
    """Best correlation of ten subframes' levels with a layout of time division, and their scatter over their mean."""
    centred = levels - levels.mean()
    size = float(np.linalg.norm(centred))
    spread = float(levels.std() / (abs(float(levels.mean())) + 1e-30))
    return float(np.max(_layouts() @ centred)) / (size + 1e-30), min(spread, 10.0)


def grid_numbers(frame: F64, changes: F64, top_hz: float) -> dict[str, float]:
    """The 20 ms course and the course of changes against the grids of symbols, slots and subframes.

    Parameters
    ----------
    frame, changes : ndarray, shape (bins,)
        Mean course of 20 ms, and ``course_of_changes`` of the same phase.
    top_hz : float
        Where the recording's band ends [Hz].
    """
    out: dict[str, float] = {}
    count = int(np.clip(top_hz * 1e-3, 2, MOST_LINES))
    for name, course in (("grid", frame), ("steps", changes)):
        subframes = course.reshape(2, 10, -1).mean(0)
        fits = grid_fits(np.fft.rfft(subframes.mean(0, keepdims=True), axis=1)[:, 1 : count + 1])
        _put_fits(out, name, fits)
        if name == "grid":
            fits = grid_fits(np.fft.rfft(subframes, axis=1)[:, 1 : count + 1])
            _put_fits(out, "subframe", fits)
        turn = fits["references"][1] * course.size // (20 * TURNS)
        rows = np.roll(course, -turn).reshape(2, 10, -1).mean(0)
        levels = rows.mean(1) if name == "steps" else _reference_levels(rows, count)
        out[f"{name}.layout"], out[f"{name}.scatter"] = layout_fit(levels)
    out.update(_change_numbers(changes))
    return out


def _put_fits(out: dict[str, float], name: str, fits: dict[str, tuple[float, int]]) -> None:
    out.update({f"{name}.{grid}": share for grid, (share, _) in fits.items()})
    out[f"{name}.lead"] = fits["control"][0] - max(fits["slot15"][0], fits["slot30"][0])


def _reference_levels(rows: F64, count: int) -> F64:
    """Strength of the reference signals in each of ten subframes, on the lines within the band ``[10]``."""
    lines = np.fft.rfft(rows, axis=1)[:, 1 : count + 1]
    basis = _bases(count)[:, 0]
    return np.asarray(np.abs(np.concatenate([lines.real, lines.imag], axis=1) @ basis))


def _change_numbers(changes: F64) -> dict[str, float]:
    """By band, how far the lines of each repetition stand above the rest in the course of changes."""
    power = np.abs(np.fft.rfft(changes)[1:]) ** 2
    orders = np.arange(1, power.size + 1)
    out = {"steps.power": float(np.log10(power.sum() / (changes.sum() ** 2 + 1e-30) + 1e-6))}
    for low, high in zip(STEP_EDGES_HZ, STEP_EDGES_HZ[1:], strict=False):
        inside = (orders * 50.0 >= low) & (orders * 50.0 < high)
        usual = float(np.median(power[inside])) + 1e-30
        for name, every in EVERY.items():
            mine = inside & (orders % every == 0)
            if mine.any():
                out[f"steps.{name}.{low:.0f}"] = float(np.log10(max(float(power[mine].mean()) / usual, 1e-2)))
    return out


def guard_numbers(white: F32, bins_per_hz: float) -> dict[str, float]:
    """Whitened power of the single lines that the guards between GSM's eight slots leave: the first two, and beside them.

    A carrier of which all slots are on is silent between them only: lines at 208/0.12 Hz and twice that
    (TS 45.002 clause 4.3.2), and next to nothing one frame rate (26/0.12 Hz) to either side. Bluetooth's voice links have a line at
    the same place, the 13th of 400/3 Hz, among others as tall: ``guard.alone`` is how far the first stands over all within 300 Hz.
    """
    slot, frame = 208 / 0.12, 26 / 0.12
    first, second = (_tallest(white, bins_per_hz, order * slot) for order in (1, 2))
    beside = max(_tallest(white, bins_per_hz, slot + side * frame) for side in (-1, 1))
    near, far = (
        (int((slot - reach) * bins_per_hz), int((slot + reach) * bins_per_hz))
        for reach in (GUARD_FLANK_HZ, GUARD_REACH_HZ)
    )
    around = np.concatenate([white[far[0] : near[0]], white[near[1] : far[1]]])
    alone = first - float(np.log10(max(float(around.max()), 0.1))) if around.size else 0.0
    return {
        "guard.first": first, "guard.second": second, "guard.beside": beside, "guard.lead": first - beside,
        "guard.alone": alone,
    }  # fmt: skip


def _tallest(white: F32, bins_per_hz: float, line_hz: float) -> float:
    """Tallest bin within a crystal's error of a line [decades]."""
    first, last = (int(round(line_hz * (1 + side * GUARD_PPM) * bins_per_hz)) for side in (-1, 1))
    near = white[first - 1 : last + 2]
    return float(np.log10(max(float(near.max()), 0.1))) if near.size else 0.0
