"""A home to practise in: invented from a seed, its truth hidden until the scan, the order and the plan are scored.

Each transmitter stands somewhere in or outside a flat of three rooms; its mean at a place follows free space and the
walls between, its field in the half-metre cube there is a sum of plane waves. The antenna has one axis. Everything is
invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from roomfield.demo.plane_waves import PlaneWaves, drawn_waves
from roomfield.errors import InputError, RangeError, UnknownNameError

F64 = NDArray[np.float64]

RATE_HZ = 50.0
HALF_EDGE_M = 0.25
SEEDS = (0, 1_000_000)
WALL_DB = 4.0
"""An inner wall, both ways of building mixed; our judgement [dB]."""
FLOOR_W_M2 = 1e-9
"""What the meter shows where nothing transmits [W/m2]."""
_FLAT_M = (9.0, 7.0)
_PLACES = (("Bed", (1.5, 1.5, 0.6)), ("Cot", (1.2, 5.4, 0.7)), ("Desk", (7.2, 4.0, 1.0)))
_KINDS = (
    ("Router", "wifi_data", 2.45e9, 0.1, True, "busy"),
    ("Second router", "wifi_beacon", 5.5e9, 0.1, True, "beacons"),
    ("Cordless base", "dect", 1.89e9, 0.25, True, "always"),
    ("Baby monitor", "dect", 1.89e9, 0.25, True, "always"),
    ("Smart meter", "smart_meter", 0.868e9, 0.025, False, "telegrams"),
    ("Mast over the street", "lte_fdd", 0.8e9, 300.0, False, "always"),
    ("Mast on the hill", "lte_fdd", 1.8e9, 800.0, False, "always"),
)
"""Name, technology, frequency [Hz], EIRP [W], whether it can be switched, and how it takes the air."""


@dataclass(frozen=True)
class PracticeSource:
    """A transmitter of the home.

    Attributes
    ----------
    name, technology : str
    frequency_hz : float
        [Hz]
    own : bool
        Whether the household can switch it off.
    presence : str
        ``always``, ``busy``, ``beacons`` or ``telegrams``.
    mean_w_m2 : tuple of float
        Mean power density at each place while it transmits [W/m2]; hidden from who practises.
    """

    name: str
    technology: str
    frequency_hz: float
    own: bool
    presence: str
    mean_w_m2: tuple[float, ...]


@dataclass(frozen=True)
class PracticeScore:
    """How something was done against the truth.

    Attributes
    ----------
    points : int
        0 to 100.
    missed_db : float
        How far the result lies under (a scan) or over (an order, a plan) the best there is [dB].
    best : tuple of str
        The best order or choice; empty for a scan.
    truth_w_m2 : float
        Largest value at the place (a scan), or highest level that is left there (an order, a plan) [W/m2].
    """

    points: int
    missed_db: float
    best: tuple[str, ...]
    truth_w_m2: float


@dataclass(frozen=True)
class PracticeHome:
    """The home of one seed."""

    seed: int
    places: tuple[str, ...]
    sources: tuple[PracticeSource, ...]

    @cached_property
    def _fields(self) -> tuple[tuple[PlaneWaves, ...], ...]:
        """By place, then by source."""
        return tuple(
            tuple(
                drawn_waves(np.random.default_rng([self.seed, 3, p, s]), source.frequency_hz, source.mean_w_m2[p])
                for s, source in enumerate(self.sources)
            )
            for p in range(len(self.places))
        )

    def power_w_m2(self, place: str, position_m: F64, axis: F64, first: int, off: tuple[str, ...] = ()) -> F64:
        """What the antenna receives, one value for each 20 ms.

        Parameters
        ----------
        place : str
        position_m : ndarray, shape (n, 3)
            From the middle of the half-metre cube; taken back into it if outside [m].
        axis : ndarray, shape (n, 3)
            Direction of the antenna; any length but 0.
        first : int
            Number of values before these, for what is on the air when.
        off : tuple of str
            Transmitters that are switched off.

        Raises
        ------
        UnknownNameError, InputError
            If there is no such place or transmitter, or positions and directions do not fit.
        """
        points, directions = np.asarray(position_m, np.float64), np.asarray(axis, np.float64)
        length = np.linalg.norm(directions, axis=-1, keepdims=True) if directions.ndim == 2 else np.zeros(1)
        fits = points.shape == directions.shape and points.ndim == 2 and points.shape[1] == 3
        if not fits or not np.isfinite(points).all() or not (length > 0).all():
            raise InputError(
                "positions and directions of the antenna do not fit.", where="scan", mend="Give three numbers of each."
            )
        points, directions = np.clip(points, -HALF_EDGE_M, HALF_EDGE_M), directions / length
        total = np.full(len(points), FLOOR_W_M2)
        for source, waves in zip(self.sources, self._fields[self._place(place)], strict=True):
            if source.name not in self._known(off):
                heard = np.abs(np.einsum("ij,ij->i", waves.field(points), directions)) ** 2
                total += heard * _on_air(source, self.seed, first, len(points))
        return total

    @lru_cache(maxsize=64)  # noqa: B019 (homes are few and small)
    def largest_w_m2(self, place: str, off: tuple[str, ...] = ()) -> float:
        """Largest value over the cube and all directions of the antenna, all but rare telegrams on the air [W/m2]."""
        rng = np.random.default_rng([self.seed, 5])
        fields = self._fields[self._place(place)]
        heard = [s.name not in self._known(off) and s.presence != "telegrams" for s in self.sources]
        left = [waves for waves, on in zip(fields, heard, strict=True) if on]
        points, spread, best = rng.uniform(-HALF_EDGE_M, HALF_EDGE_M, (1500, 3)), 0.03, FLOOR_W_M2
        for _ in range(5):
            total = np.sum([waves.covariance(points) for waves in left], axis=0) if left else np.zeros((1, 3, 3))
            value = np.linalg.eigvalsh(total)[:, -1]
            best = max(best, float(value.max()))
            near = points[np.argsort(value)[-8:]] if left else points[:8]
            points = (near[:, None] + rng.normal(0, spread, (1, 40, 3))).reshape(-1, 3)
            points, spread = np.clip(np.concatenate([near, points]), -HALF_EDGE_M, HALF_EDGE_M), spread / 2
        return best

    def score_scan(self, place: str, highest_w_m2: float, off: tuple[str, ...] = ()) -> PracticeScore:
        """How far the highest value found lies under the largest there is: 100 points for nothing, 0 for 10 dB."""
        largest = self.largest_w_m2(place, off)
        missed = max(0.0, 10.0 * float(np.log10(largest / max(highest_w_m2, FLOOR_W_M2))))
        return PracticeScore(_points(missed, 10.0), missed, (), largest)

    def score_order(self, place: str, order: tuple[str, ...]) -> PracticeScore:
        """Switching off one by one: how much more stays on the way than in the best order, as a mean in dB.

        Raises
        ------
        InputError
            If a transmitter of the household is named twice or left out.
        """
        own = tuple(source.name for source in self.sources if source.own)
        if sorted(order) != sorted(own):
            raise InputError(
                "an order names each transmitter of the household once.",
                where="order",
                mend=f"Put these in order: {', '.join(own)}.",
            )
        best = self._best_order(place)
        steps = range(1, len(own) + 1)
        missed = float(
            np.mean([10 * np.log10(self._left(place, order[:k]) / self._left(place, best[:k])) for k in steps])
        )
        return PracticeScore(_points(max(missed, 0.0), 6.0), max(missed, 0.0), best, self._left(place, order))

    def score_plan(self, chosen: tuple[str, ...]) -> PracticeScore:
        """What stays at the worst place, against the best choice of as many transmitters.

        Raises
        ------
        InputError
            If a transmitter is not the household's to switch.
        """
        own = tuple(source.name for source in self.sources if source.own)
        if foreign := [name for name in self._known(chosen) if name not in own]:
            raise InputError(
                f"{foreign[0]} is not the household's to switch.", where="plan", mend=f"Choose from: {', '.join(own)}."
            )
        best = min(combinations(own, len(set(chosen))), key=self._worst)
        missed = 10.0 * float(np.log10(self._worst(chosen) / self._worst(best)))
        return PracticeScore(_points(max(missed, 0.0), 6.0), max(missed, 0.0), best, self._worst(chosen))

    def _worst(self, off: tuple[str, ...]) -> float:
        return max(self._left(place, off) for place in self.places)

    def _left(self, place: str, off: tuple[str, ...]) -> float:
        p = self._place(place)
        return FLOOR_W_M2 + sum(s.mean_w_m2[p] for s in self.sources if s.name not in off)

    def _best_order(self, place: str) -> tuple[str, ...]:
        p = self._place(place)
        own = [source for source in self.sources if source.own]
        return tuple(s.name for s in sorted(own, key=lambda s: -s.mean_w_m2[p]))

    def _place(self, name: str) -> int:
        if name not in self.places:
            raise UnknownNameError("place", name, self.places)
        return self.places.index(name)

    def _known(self, names: tuple[str, ...]) -> tuple[str, ...]:
        known = tuple(source.name for source in self.sources)
        for name in names:
            if name not in known:
                raise UnknownNameError("transmitter", name, known)
        return names


def practice_home(seed: int) -> PracticeHome:
    """The home of a seed; the same seed gives the same home.

    Raises
    ------
    RangeError
        If the seed is out of range.
    """
    if not SEEDS[0] <= seed <= SEEDS[1]:
        raise RangeError("seed", float(seed), (float(SEEDS[0]), float(SEEDS[1])), "", where="practice")
    rng = np.random.default_rng([seed, 2])
    chosen = [kind for kind in _KINDS if rng.random() < 0.7]
    if sum(kind[4] for kind in chosen) < 2:
        chosen = list(_KINDS)
    places = np.array([position for _, position in _PLACES])
    sources = []
    for name, technology, frequency, eirp_w, own, presence in chosen:
        stands = np.array([*(rng.uniform(0.3, edge - 0.3) for edge in _FLAT_M), rng.uniform(0.4, 2.0)])
        if not own and presence == "always":
            angle, far = rng.uniform(0, 2 * np.pi), rng.uniform(60, 400)
            stands = np.array([far * np.cos(angle), far * np.sin(angle), rng.uniform(10, 30)])
        away = np.maximum(np.linalg.norm(places - stands, axis=1), 0.4)
        walls = rng.poisson(np.minimum(away / 3.0, 3.0))
        shadow = rng.normal(0.0, 3.0, len(places))
        mean = eirp_w / (4 * np.pi * away**2) * 10 ** ((shadow - WALL_DB * walls) / 10)
        sources.append(PracticeSource(name, technology, frequency, own, presence, tuple(float(m) for m in mean)))
    return PracticeHome(seed, tuple(name for name, _ in _PLACES), tuple(sources))


def _points(missed_db: float, worst_db: float) -> int:
    return round(100.0 * max(0.0, 1.0 - missed_db / worst_db))


def _on_air(source: PracticeSource, seed: int, first: int, count: int) -> NDArray[np.bool_]:
    """What is on the air in values ``first`` to ``first + count``; the same at every call."""
    index = np.arange(first, first + count)
    if source.presence == "always":
        return np.ones(count, np.bool_)
    if source.presence == "beacons":
        return np.asarray(index % 5 == 0)
    if source.presence == "busy":
        block = np.random.default_rng([seed, 7]).random(4096) < 0.5
        return np.asarray(block[(index // 20) % 4096] | (index % 5 == 0))
    starts = np.random.default_rng([seed, 11]).integers(0, 300, 512)
    return np.asarray(np.abs(index % 300 - starts[(index // 300) % 512]) < 2)
