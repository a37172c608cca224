"""Widths of bursts as reasons: folded where a technology repeats, of single bursts where it does not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.references.technologies import Technology
from roomfield.signals.burst_widths import VAGUE, BurstWidth, folded_width
from roomfield.signals.features import FOLDS, FRAME, Evidence, band_top_hz
from roomfield.signals.hearing import EvidenceItem

LEAST_SAMPLES = 2.5
UNEVEN = 1.6
CRISP = 1.15
LEAST_SHARE, LEAST_BURSTS = 0.2, 2
WIDER_THAN_TABLE = 1.3
MOST_HALVES = 8  # rates of slots fold packets of all lengths on one another
HALF_STEP = 0.3  # of a sample: how well one burst's width is read
SLOTS_S = {"gsm": 15e-3 / 26, "dect": 10e-3 / 24, "tetra": 0.17 / 12, "dmr": 0.03}

# Period that is folded [s] and longest averaging time on either side of an edge [s].
_AS_FOLDED = {plan.name: (plan.period_s, plan.reach_s) for plan in (FRAME, *FOLDS)}
WIDTH_FOLDS: dict[str, tuple[float, float]] = {
    "dect": (0.01, FRAME.reach_s), "nr_ue_tdd": (5e-3, FRAME.reach_s), "nr_tdd": _AS_FOLDED["frame"],
    "nr_fdd": _AS_FOLDED["frame"], "gsm": _AS_FOLDED["gsm"], "tetra": _AS_FOLDED["tetra"], "dmr": _AS_FOLDED["sixty"],
    "wifi_beacon": _AS_FOLDED["beacon"], "bluetooth_classic": _AS_FOLDED["bt"],
}  # fmt: skip


@dataclass(frozen=True)
class WidthReason:
    """What is told of a width: the sentence, and width and standard deviation if there is one number [s]."""

    item: EvidenceItem | None = None
    width_s: float | None = None
    std_s: float | None = None


def resolution_s(evidence: Evidence) -> float:
    """Time between two samples that tell different things, by the band that the recording's path has left [s]."""
    return 0.5 / min(evidence.conditioned.top_hz, band_top_hz(evidence.spectrum))


def one_slot_s(name: str, width_s: float, row: Technology) -> float:
    """Width of one burst where a folded one spans several slots side by side [s]."""
    slot_s = SLOTS_S.get(name)
    if slot_s is None:
        return width_s
    guard_s = slot_s - max((w.high_s for w in row.widths if w.high_s < slot_s), default=slot_s)
    slots = max(1, round((width_s + guard_s) / slot_s))
    return width_s - (slots - 1) * slot_s


def width_reason(
    row: Technology, evidence: Evidence, samples: NDArray[np.float32], rates_hz: tuple[float, ...], *, single: bool
) -> WidthReason:
    """Width of a technology's bursts, as far as the recording shows one.

    Parameters
    ----------
    row : Technology
    evidence : Evidence
    samples : ndarray of float32, shape (n,)
        The recording less what other technologies have put into it.
    rates_hz : tuple of float
        Rates as the recording has them [Hz].
    single : bool
        Whether single bursts of one width come before the folded one: what is deferred blurs the folded one.
    """
    if row.name not in WIDTH_FOLDS:
        return _by_bursts(row, evidence, rates_hz) if row.widths else WidthReason()
    if single:
        told = _by_bursts(row, evidence, rates_hz, spread=CRISP)
        if told.width_s is not None:
            return told
    return _by_folding(row, evidence, samples, rates_hz)


def _by_folding(
    row: Technology, evidence: Evidence, samples: NDArray[np.float32], rates_hz: tuple[float, ...]
) -> WidthReason:
    if not rates_hz:
        return WidthReason()
    nominal_s, reach_s = WIDTH_FOLDS[row.name]
    halves = max(round(2 * nominal_s * rates_hz[0]), 1)
    if halves > MOST_HALVES:
        return WidthReason()
    found = folded_width(
        samples, evidence.conditioned.sample_rate_hz, 0.5 * halves / rates_hz[0],
        top_hz=0.5 / resolution_s(evidence), widest_reach_s=reach_s, subframes=row.name == "dect",
    )  # fmt: skip
    if found is None:
        return WidthReason()
    if found.at_most:
        return WidthReason(_at_most(found))
    width = one_slot_s(row.name, found.width_s, row)
    if width > WIDER_THAN_TABLE * max(w.high_s for w in row.widths):
        return WidthReason()
    match = next((w for w in row.widths if 0.88 * w.low_s - 3e-5 <= width <= 1.12 * w.high_s + 3e-5), None)
    table = f", as {match.name} in the table" if match else ", a width the table does not list"
    text = f"folded burst {_plus_minus(width, found.std_s)} wide{table}"
    return WidthReason(EvidenceItem("width", text, width, "s"), width, found.std_s)


def _at_most(found: BurstWidth) -> EvidenceItem:
    return EvidenceItem(
        "width", f"bursts at most {number(found.width_s)} wide: the recording parts nothing shorter", None
    )


def number(value_s: float) -> str:
    """A time in microseconds or milliseconds."""
    return f"{value_s * 1e6:.0f} µs" if value_s < 2e-3 else f"{value_s * 1e3:.2f} ms"


def _plus_minus(value_s: float, std_s: float) -> str:
    if value_s < 2e-3:
        return f"{value_s * 1e6:.0f} ± {max(std_s * 1e6, 1):.0f} µs"
    return f"{value_s * 1e3:.2f} ± {max(std_s * 1e3, 0.01):.2f} ms"


def _by_bursts(row: Technology, evidence: Evidence, rates_hz: tuple[float, ...], spread: float = UNEVEN) -> WidthReason:
    """Single bursts of a width the table lists: how many, and their median width if they have one.

    Of a technology that repeats, a fair share of the repetitions must be among them: a few are others' bursts.
    """
    widths = evidence.bursts.widths_s
    inside = np.zeros(widths.size, bool)
    for width in row.widths:
        inside |= (widths >= 0.8 * width.low_s - 3e-5) & (widths <= 1.2 * width.high_s + 3e-5)
    count, expected = int(inside.sum()), evidence.duration_s * min(rates_hz, default=0.0)
    if count < max(LEAST_BURSTS if rates_hz else 1, LEAST_SHARE * expected):
        return WidthReason()
    low, median, high = (float(v) for v in np.quantile(widths[inside], [0.25, 0.5, 0.75]))
    step_s = resolution_s(evidence)
    # the median's standard deviation by the quartiles of a bell (1.253 / 1.349)
    std = float(np.hypot(0.93 * (high - low) / np.sqrt(count), HALF_STEP * step_s))
    if high > spread * low or std > VAGUE * median or median < LEAST_SAMPLES * step_s:
        return WidthReason(_uneven(count, low, high, step_s))
    text = f"{count} bursts of the widths in the table, median {_plus_minus(median, std)}"
    return WidthReason(EvidenceItem("width", text, median, "s"), median, std)


def _uneven(count: int, low_s: float, high_s: float, step_s: float) -> EvidenceItem:
    """Bursts without one width: of many, or too short for the recording to show."""
    if high_s < LEAST_SAMPLES * step_s:
        return EvidenceItem("width", f"{count} bursts shorter than {number(LEAST_SAMPLES * step_s)}")
    text = f"{count} bursts of the widths in the table, from {number(low_s)} to {number(high_s)}"
    return EvidenceItem("width", text)
