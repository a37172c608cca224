"""Evidence at exact rates: how much power stands on the lines of each known comb.

Every comb is a set of lines at multiples of a published rate, without those multiples that another
technology shares. The whole comb may be stretched by the errors of two crystals: some tens of ppm of the transmitter's,
up to a hundred of a cheap recorder's; the stretch that fits best is searched.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_kernels import scan_comb
from roomfield.signals.spectrum import WhiteSpectrum

F64 = NDArray[np.float64]

CRYSTAL_PPM = 160.0
LINE_CAP = 60.0
MASK_BINS = 5
TALL_LINE = 1000.0
BANDS_HZ = ((0.0, 1500.0), (1500.0, 5000.0), (5000.0, 20000.0))


@dataclass(frozen=True)
class Comb:
    """Lines at ``base_hz`` times every whole number up to ``top_hz`` that no number in ``without`` divides.

    ``odd`` keeps odd multiples only; ``only`` keeps multiples of that number only.
    """

    name: str
    base_hz: float
    without: tuple[int, ...] = ()
    odd: bool = False
    top_hz: float = 20000.0
    reach_ppm: float = CRYSTAL_PPM

    def lines_hz(self, top_hz: float) -> F64:
        """Line frequencies up to the lower of both tops, in order; not to be written to [Hz]."""
        return _lines(self, top_hz)


@lru_cache(maxsize=512)
def _lines(comb: Comb, top_hz: float) -> F64:
    orders = np.arange(1, int(min(top_hz, comb.top_hz) / comb.base_hz) + 1)
    if comb.odd:
        orders = orders[orders % 2 == 1]
    for number in comb.without:
        orders = orders[orders % number != 0]
    lines = np.asarray(orders * comb.base_hz, np.float64)
    lines.setflags(write=False)
    return lines


def mask_comb(white: NDArray[np.float32], spectrum: WhiteSpectrum, base_hz: float, offset_ppm: float) -> None:
    """Set every line of a comb, with its window's main lobe, back to the floor, in place."""
    top = min(spectrum.top_hz, BANDS_HZ[-1][1])
    lines = np.arange(1, int(top / base_hz) + 1) * base_hz * (1 + offset_ppm * 1e-6)
    centre = np.minimum(np.rint(lines * spectrum.bins_per_hz).astype(np.int64), white.size - 1)
    tall = spectrum.white[centre] > TALL_LINE
    for group, half in ((centre, MASK_BINS), (centre[tall], 4 * MASK_BINS)):
        reach = np.arange(-half, half + 1)
        white[np.clip(group[:, None] + reach, 0, white.size - 1).ravel()] = 1.0


@dataclass(frozen=True)
class CombEvidence:
    """What one comb shows.

    Attributes
    ----------
    name : str
    score : float
        Capped power above expectation over its standard deviation, at the best stretch [1].
    offset_ppm : float
        Best stretch [ppm].
    mean_power : tuple of float
        Mean capped whitened power of the lines per band [1]; 1 is noise. A band that the recording does not reach is taken to
        be like the one below.
    hits : float
        Share of lines standing above 6 times the floor.
    """

    name: str
    score: float
    offset_ppm: float
    mean_power: tuple[float, ...]
    hits: float


def offsets_for(lines_hz: F64, spectrum: WhiteSpectrum, reach_ppm: float) -> F64:
    """Stretches to try: steps that move the highest line by half a bin of the padded grid."""
    step = 0.5 / (spectrum.bins_per_hz * lines_hz[-1]) * 2
    count = int(np.ceil(reach_ppm * 1e-6 / step))
    return np.arange(-count, count + 1) * step


def weigh_comb(spectrum: WhiteSpectrum, comb: Comb) -> CombEvidence:
    """Search the best stretch of a comb and say what stands on its lines there."""
    lines = comb.lines_hz(min(spectrum.top_hz, BANDS_HZ[-1][1]) * 0.999)
    if lines.size == 0:
        return CombEvidence(comb.name, 0.0, 0.0, (1.0,) * len(BANDS_HZ), 0.0)
    offsets = offsets_for(lines, spectrum, comb.reach_ppm)
    sums = scan_comb(spectrum.white, spectrum.bins_per_hz, lines, offsets, LINE_CAP)
    best = int(np.argmax(sums))
    at = (lines * spectrum.bins_per_hz * (1 + offsets[best]) + 0.5).astype(np.int64)
    power = np.minimum(spectrum.white[np.minimum(at, spectrum.white.size - 1)], LINE_CAP)
    edges = np.searchsorted(lines, (BANDS_HZ[0][0], *(high for _, high in BANDS_HZ)))
    bands = [float(power[a:b].mean()) if b > a else 1.0 for a, b in pairwise(edges.tolist())]
    if comb.top_hz > BANDS_HZ[-1][0] > lines[-1]:
        bands[-1] = bands[-2]
    score = float((sums[best] - lines.size) / np.sqrt(lines.size))
    return CombEvidence(
        comb.name, score, float(offsets[best] * 1e6), tuple(bands), np.count_nonzero(power > 6) / lines.size
    )


TU_HZ = 1e6 / 1024

FRAME_COMBS: tuple[Comb, ...] = (
    Comb("2000", 2000.0), Comb("1000odd", 1000.0, odd=True), Comb("500odd", 500.0, odd=True),
    Comb("400", 400.0, (5,)), Comb("200odd", 200.0, (5,), odd=True), Comb("100odd", 100.0, (5,), odd=True),
    Comb("50odd", 50.0, odd=True), Comb("25odd", 25.0, odd=True), Comb("12odd", 12.5, odd=True),
    Comb("bt1600", 1600.0, (5,)), Comb("bt800", 800.0, (5, 13), odd=True),
    Comb("umts1500", 1500.0, odd=True), Comb("tetra18k", 18000.0, top_hz=18100.0),
)  # fmt: skip

GSM_COMBS: tuple[Comb, ...] = (
    Comb("gsm217", 26 / 0.12, (3, 8)), Comb("gsm1733", 208 / 0.12, (3,)),
    Comb("gsm8", 1 / 0.12, (2, 3, 13), top_hz=4000.0),
)  # fmt: skip

SLOT_COMBS: tuple[Comb, ...] = (
    Comb("16", 50.0 / 3, (3, 13), top_hz=2000.0),
    Comb("tetra17", 3 / 0.17, (17,), top_hz=1500.0), Comb("tetra70", 12 / 0.17, (17,), top_hz=1500.0),
    Comb("bt266", 800.0 / 3, (3, 13)), Comb("bt133", 400.0 / 3, (3, 13), odd=True),
)  # fmt: skip

BEACON_COMBS: tuple[Comb, ...] = (
    Comb("beacon100low", TU_HZ / 100, (128,), top_hz=250.0), Comb("beacon100", TU_HZ / 100, (128,), top_hz=1200.0),
    Comb("beacon100high", TU_HZ / 100, (128,), top_hz=4000.0),
    Comb("beacon200", TU_HZ / 200, (256,), odd=True, top_hz=1200.0),
    Comb("beacon300", TU_HZ / 300, (3, 128), top_hz=1200.0),
    Comb("beacon10", 10.0, (5,), top_hz=1200.0),
)  # fmt: skip

DVB_SYMBOLS_S = tuple(
    useful * (1 + guard) * scale
    for useful in (896e-6, 224e-6) for scale in (1.0, 8 / 7) for guard in (1 / 4, 1 / 8, 1 / 16, 1 / 32)
)  # fmt: skip

DVB_COMBS: tuple[Comb, ...] = tuple(Comb(f"dvbt{symbol * 1e6:.0f}", 1 / (4 * symbol)) for symbol in DVB_SYMBOLS_S)

MAINS_COMBS: tuple[Comb, ...] = (
    Comb("mains50odd", 50.0, odd=True, top_hz=1500.0, reach_ppm=4000.0),
    Comb("mains100", 100.0, top_hz=2000.0, reach_ppm=4000.0),
    Comb("mains60odd", 60.0, odd=True, top_hz=1500.0, reach_ppm=4000.0),
    Comb("mains120", 120.0, top_hz=2000.0, reach_ppm=4000.0),
)  # fmt: skip
