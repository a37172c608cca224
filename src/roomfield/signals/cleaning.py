"""Clean, then search again: signals whose frames carry a common multiple of other technologies' rates.

GSM's 120 ms multiframe, the 60 ms frame of DMR, TETRA's 56.67 ms and Bluetooth's voice intervals put lines on multiples
of 50, 100 or 200 Hz. Each that is certain is taken off the samples period by period, with the height that this
period has, so that idle frames and pauses of speech leave nothing behind; the spectrum is then made anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_kernels import subtract_scaled
from roomfield.signals.combs import CRYSTAL_PPM, DVB_COMBS, TU_HZ, Comb, CombEvidence, weigh_comb
from roomfield.signals.folding import nodes
from roomfield.signals.spectrum import WhiteSpectrum, white_spectrum

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

CERTAIN = 15.0
STANDS_OUT = 0.5
SPLIT_HZ = 2500.0
TOP_HZ = 18000.0
FLOOR = -0.5
DRIVEN_OUT_PPM = 0.95 * CRYSTAL_PPM


@dataclass(frozen=True)
class FrameLaw:
    """A frame to take off: its lines, the step to lines that must be lower, and its period [s]."""

    name: str
    comb: Comb
    beside_hz: float
    period_s: float


FRAME_LAWS: tuple[FrameLaw, ...] = (
    FrameLaw("gsm", Comb("gsm217", 26 / 0.12, (3, 8)), 50 / 3, 0.12 / 26),
    FrameLaw("bt", Comb("bt266", 800 / 3, (3, 13)), 50 / 3, 3.75e-3),
    FrameLaw("bt", Comb("bt133", 400 / 3, (3, 13), odd=True), 50 / 3, 7.5e-3),
    FrameLaw("sixty", Comb("16", 50 / 3, (3, 13), top_hz=2000.0), 25 / 3, 0.06),
    FrameLaw("tetra", Comb("tetra17", 3 / 0.17, (17,), top_hz=1500.0), 1.5 / 0.17, 0.17 / 3),
)


TWENTY_MS = Comb("50", 50.0)
NO_OTHER = 0.25


@dataclass(frozen=True)
class RemovedFrame:
    """A frame that was taken off: name, period [s] and stretch [ppm]."""

    name: str
    period_s: float
    offset_ppm: float


def _log_power(spectrum: WhiteSpectrum, frequencies_hz: F64) -> F64:
    at = np.minimum((frequencies_hz * spectrum.bins_per_hz + 0.5).astype(np.int64), spectrum.white.size - 1)
    return np.asarray(np.maximum(np.log10(spectrum.white[at] + 1e-3), FLOOR), np.float64)


def contrast(spectrum: WhiteSpectrum, comb: Comb, offset_ppm: float, beside_hz: float) -> tuple[float, float]:
    """How far the lines of a comb stand above the places beside them, below and above 2.5 kHz [decades of power].

    Parameters
    ----------
    spectrum : WhiteSpectrum
    comb : Comb
    offset_ppm : float
        Stretch at which the comb was found [ppm].
    beside_hz : float
        Step to either side at which a comb that only contains this one has lines too [Hz].
    """
    lines = comb.lines_hz(min(spectrum.top_hz - beside_hz, TOP_HZ))
    if lines.size == 0:
        return 0.0, 0.0
    stretch = 1 + offset_ppm * 1e-6
    here, below, above = _log_power(spectrum, np.abs(lines + np.array([[0.0], [-beside_hz], [beside_hz]])) * stretch)
    excess = here - np.maximum(below, above)
    split = int(np.searchsorted(lines, SPLIT_HZ))
    return _mean(excess[:split]), _mean(excess[split:])


def _mean(values: F64) -> float:
    return float(values.mean()) if values.size else 0.0


def _certain(spectrum: WhiteSpectrum, law: FrameLaw) -> CombEvidence | None:
    """The comb's evidence if it is there and no mere part of a denser comb."""
    found = weigh_comb(spectrum, law.comb)
    if found.score < CERTAIN or abs(found.offset_ppm) > DRIVEN_OUT_PPM:
        return None
    low, high = contrast(spectrum, law.comb, found.offset_ppm, law.beside_hz)
    if max(low, high) < STANDS_OUT:
        return None
    if law.name == "sixty" and max(contrast(spectrum, TWENTY_MS, found.offset_ppm, law.comb.base_hz)) > NO_OTHER:
        return None
    return found


def take_off(samples: F32, sample_rate_hz: float, period_s: float) -> None:
    """Subtract a folded frame in place, each period with its own height between 0 and 1.5 times the mean's."""
    take_course(samples, sample_rate_hz, period_s, nodes(samples, sample_rate_hz, period_s))


def take_course(samples: F32, sample_rate_hz: float, period_s: float, course: F64) -> None:
    """Subtract a known course of one period in place, each period with its own height between 0 and 1.5."""
    quiet = int(np.argmax(np.diff(course, append=course[:1]))) - max(2, course.size // 50)
    subtract_scaled(samples, 1 / (period_s * sample_rate_hz), course, quiet % course.size)


def clean(
    samples: F32, sample_rate_hz: float, spectrum: WhiteSpectrum
) -> tuple[WhiteSpectrum, tuple[RemovedFrame, ...]]:
    """Spectrum without the frames that are certain, and what was taken; the same spectrum if there are none."""
    taken: tuple[RemovedFrame, ...] = ()
    for law in FRAME_LAWS:
        found = _certain(spectrum, law)
        if found is None or (law.name == "sixty" and taken):
            continue
        samples = samples.copy()
        taken = (*taken, RemovedFrame(law.name, law.period_s / (1 + found.offset_ppm * 1e-6), found.offset_ppm))
        take_off(samples, sample_rate_hz, taken[-1].period_s)
        spectrum = white_spectrum(samples, sample_rate_hz, spectrum.top_hz)
    return spectrum, taken


BESIDE_HZ: tuple[tuple[str, float], ...] = (
    ("2000", 1000.0), ("2000", 200.0), ("1000odd", 500.0), ("1000odd", 200.0), ("500odd", 100.0), ("400", 200.0),
    ("200odd", 100.0), ("100odd", 50.0), ("50odd", 25.0), ("50odd", 50 / 3), ("100odd", 50 / 3), ("25odd", 12.5),
    ("bt1600", 100.0), ("bt1600", 200.0), ("bt800", 100.0), ("bt800", 200.0), ("umts1500", 100.0),
    ("gsm217", 50 / 3), ("gsm217", 25 / 3), ("gsm1733", 26 / 0.12), ("bt266", 50 / 3), ("bt133", 50 / 3),
    ("bt266", 400 / 3), ("16", 25 / 3), ("tetra17", 1.5 / 0.17), ("beacon100", TU_HZ / 200), ("beacon100", TU_HZ / 300),
    ("beacon200", TU_HZ / 400), ("tetra18k", 100.0), ("tetra18k", 200.0), ("tetra18k", 1000.0),
    ("tetra18k", 2000.0),
    ("25odd", 5.0), ("50odd", 10.0), ("50odd", 12.5), ("50odd", 5.0), ("100odd", 10.0), ("100odd", 20.0), ("100odd", 25.0),
    ("100odd", 100 / 3), ("200odd", 20.0), ("200odd", 40.0), ("200odd", 50.0), ("200odd", 200 / 3), ("400", 50.0),
    ("400", 80.0), ("400", 100.0), ("400", 400 / 3), ("500odd", 50.0), ("500odd", 125.0), ("500odd", 250.0),
    ("1000odd", 100.0), ("1000odd", 250.0), ("2000", 100.0), ("2000", 500.0), ("umts1500", 250.0), ("umts1500", 300.0),
    ("umts1500", 500.0), ("umts1500", 750.0), ("bt800", 400.0), ("bt1600", 400.0), ("bt266", 200 / 3), ("16", 10 / 3),
    ("mains50odd", 10.0), ("mains50odd", 25.0), ("mains100", 20.0), ("mains100", 50.0), ("mains60odd", 10.0),
    ("mains60odd", 20.0), ("mains60odd", 30.0), ("mains120", 24.0), ("mains120", 40.0), ("mains120", 60.0),
)  # fmt: skip
BROADCAST_PARTS = (2, 3, 5, 8, 20)


def contrasts(
    spectrum: WhiteSpectrum, first: WhiteSpectrum, combs: dict[str, CombEvidence], laws: dict[str, Comb]
) -> dict[str, tuple[float, float]]:
    """Contrast of every comb with the places where a denser comb would have lines too.

    Parameters
    ----------
    spectrum, first : WhiteSpectrum
        After cleaning, and before it without the lines of a certain frame of 20 ms, which lie on the places beside GSM's;
        combs that cleaning takes off are looked up in the latter.
    combs : dict
        Evidence of each comb, for its stretch.
    laws : dict
        The combs themselves.
    """
    own = {law.comb.name for law in FRAME_LAWS} | {"gsm1733"}
    found = {
        f"{name}/{beside_hz:.4g}": contrast(
            first if name in own else spectrum, laws[name], combs[name].offset_ppm, beside_hz
        )
        for name, beside_hz in BESIDE_HZ
    }
    best = max(DVB_COMBS, key=lambda comb: combs[comb.name].score)
    for parts in BROADCAST_PARTS:
        found[f"dvbt/{parts}"] = contrast(spectrum, best, combs[best.name].offset_ppm, best.base_hz / parts)
    return found
