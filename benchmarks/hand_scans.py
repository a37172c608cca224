"""Hands that scan a half-metre cube with one axis, through fields made of plane waves: scans with known truth.

The field of a source is a sum of plane waves with random directions (mostly level), phases and polarisations; one
of them may stand out (Rice factor). A figure-of-eight antenna on the axis u shows u' C u, C = Re(E E*), so that the
largest value at a point is the largest eigenvalue of C. Hands move along layers or freely, turn or do not, return
to the loudest spots or do not. Everything is drawn from one seed; nothing is fitted to any recording.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from roomfield.demo.plane_waves import PlaneWaves, drawn_waves
from roomfield.signals.coach.search import ScanPart

F64 = NDArray[np.float64]
Rng = np.random.Generator
MANNERS = ("by chance", "in turn", "still, turning")
Received = Callable[[F64, F64, int], F64]

RATE_HZ = 50.0
HALF_EDGE_M = 0.25
BANDS_HZ = (0.8e9, 0.9e9, 1.8e9, 1.89e9, 2.1e9, 2.45e9, 2.6e9, 3.5e9, 5.5e9)
SILENCE_W_M2 = 1e-9
"""What is left when nothing transmits, in the units of a source of 1 W/m2."""
GOES_BACK_SHARE, TURNS_SHARE, ONLY_THERE_SHARE = 0.7, 0.7, 0.3
"""Hands that go back to the loudest spots; hands that turn the antenna, whether they go back or not; some of those that
go back turn it nowhere else. Shares of what is simulated, not of what is believed: see the forest's odds [1]."""
MOST_SPOTS, COACHED_S, COACHED_SWEEP_S, COACHED_AGAIN_S, COACHED_SPOTS = 8, 150.0, 18.0, 30.0, 6
"""Loud spots that a hand goes back to; and a hand that does as the coach says: a sweep, the loudest spot, all of the cube
once more with the antenna as it stood there, then one loud spot after the other, until so long is over [s]."""
COACHED_FIRST_S = 12.0
AGAIN_SHARE, AGAIN_ROOM_S, SWEPT_AGAIN_M = 0.3, 50.0, 9.0
"""Other hands that sweep again if there is so much time [1, s], and the way through three layers [m]."""
THOROUGH_SHARE = 0.7
"""Hands that go back, search ever more finely as a step finds nothing, and end at the loudest of all; our judgement."""
SMOOTH_SHARE = 0.6
"""Part of the fields that are smoothed over 83 mm, as a coarse solver or an antenna of that length does it [1]."""
USUAL_SHARE = 0.02
"""Sets of sources on the air together less often than this are no part of the largest value to be found [1]."""


@dataclass(frozen=True)
class HandScan:
    """One scan and its truth.

    Attributes
    ----------
    power_w_m2 : ndarray, shape (n,)
        What the antenna receives, `RATE_HZ` values a second [W/m2].
    largest_w_m2 : float
        Largest value over the cube and all axes, of the sets of sources usually on the air together [W/m2].
    turned, whole : bool
        Whether the antenna was turned, and whether all of the cube was visited.
    speed_m_s : float
        Usual speed of the hand [m/s].
    back_from_s : float
        When it went back to the loudest spots; the length of the scan if it did not [s].
    marks : tuple of (float, ScanPart)
        When it set about searching at each loud spot, or sweeping again with the antenna as it stood at the highest [s].
    axis : ndarray, shape (n, 3)
        Direction of the antenna, unit vectors.
    """

    power_w_m2: F64
    largest_w_m2: float
    turned: bool
    whole: bool
    speed_m_s: float
    back_from_s: float
    marks: tuple[tuple[float, ScanPart], ...]
    axis: F64


def hand_scan(seed: int, *, coached: bool = False) -> HandScan:
    """A scan drawn from a seed; ``coached``: by a hand that does as the coach says."""
    rng = np.random.default_rng([seed, 77])
    bands = rng.choice(BANDS_HZ, size=int(rng.integers(1, 8)))
    levels_db = rng.normal(0.0, 7.0, len(bands))
    sources = [drawn_waves(rng, band, 10 ** (level / 10)) for band, level in zip(bands, levels_db, strict=True)]
    seconds = float(rng.choice([rng.uniform(4, 14), rng.uniform(14, 60), rng.uniform(60, 150)], p=[0.2, 0.5, 0.3]))
    seconds = COACHED_S if coached else seconds
    count = int(seconds * RATE_HZ)
    present = np.array([_presence(rng, count) for _ in sources])
    fields = (
        GridFields(np.stack([s.covariance(GRID_M).reshape(-1, 9) for s in sources], axis=1))
        if rng.random() < SMOOTH_SHARE
        else WaveFields(sources)
    )
    hand = _Hand(rng, count, coached)
    position, axis = hand.sweep(lambda p, a, at: _received(fields, p, a, present[:, at:]))
    power = _received(fields, position, axis, present)
    largest = largest_usual(rng, fields, present)
    return HandScan(power, largest, hand.turning, hand.whole, hand.speed, hand.first / RATE_HZ,
                    tuple((at / RATE_HZ, part) for at, part in hand.marks), axis)  # fmt: skip


GRID_STEP_M = 1.0 / 12.0
_ALONG = (np.arange(6) - 2.5) * GRID_STEP_M
GRID_M: F64 = np.stack(np.meshgrid(_ALONG, _ALONG, _ALONG, indexing="ij"), -1).reshape(-1, 3)
"""Points of a cube at which a coarse solver knows the field, 83 mm apart, the last coordinate running fastest [m]."""
_CORNERS = np.array(list(np.ndindex(2, 2, 2)))


class Fields(Protocol):
    """What an antenna of one axis receives from several sources in a cube."""

    half_edge_m: float

    def received(self, points: F64, axis: F64) -> F64:
        """By source and point, for points and axes of shape (n, 3)."""

    def largest(self, rng: Rng, members: NDArray[np.bool_]) -> float:
        """Over the cube and all axes, these sources on the air together."""


class WaveFields:
    """Fields of plane waves, known everywhere."""

    half_edge_m = HALF_EDGE_M

    def __init__(self, sources: list[PlaneWaves]) -> None:
        self.sources = sources

    def received(self, points: F64, axis: F64) -> F64:
        return np.array([np.abs(np.einsum("ij,ij->i", s.field(points), axis)) ** 2 for s in self.sources])

    def largest(self, rng: Rng, members: NDArray[np.bool_]) -> float:
        """Largest eigenvalue of points at random, refined about the best of them."""
        points = rng.uniform(-HALF_EDGE_M, HALF_EDGE_M, (2000, 3))
        value = self._over_axes(points, members)
        best, spread = float(value.max()), 0.02
        points = points[np.argsort(value)[-8:]]
        for _ in range(5):
            near = (points[:, None] + rng.normal(0, spread, (1, 12, 3))).reshape(-1, 3)
            near = np.clip(np.concatenate([points, near]), -HALF_EDGE_M, HALF_EDGE_M)
            value = self._over_axes(near, members)
            best, points, spread = max(best, float(value.max())), near[np.argsort(value)[-4:]], spread / 2
        return best

    def _over_axes(self, points: F64, members: NDArray[np.bool_]) -> F64:
        total = np.sum([self.sources[i].covariance(points) for i in np.flatnonzero(members)], axis=0)
        return np.asarray(np.linalg.eigvalsh(total)[:, -1])


class GridFields:
    """Fields known on `GRID_M` only, as a coarse solver gives them, and straight between.

    Parameters
    ----------
    on_grid : ndarray, shape (216, sources, 9)
        Covariance of the field.
    """

    half_edge_m = 2.5 * GRID_STEP_M

    def __init__(self, on_grid: F64) -> None:
        self.on_grid = on_grid

    def received(self, points: F64, axis: F64) -> F64:
        place = np.clip((points / GRID_STEP_M) + 2.5, 0.0, 4.999999)
        low = place.astype(np.int64)
        part = (place - low)[:, None, :]
        weight = np.where(_CORNERS, part, 1 - part).prod(axis=2)
        corner = (low[:, None, :] + _CORNERS) @ np.array([36, 6, 1])
        squares = (axis[:, :, None] * axis[:, None, :]).reshape(-1, 9)
        along = (self.on_grid[corner] * weight[:, :, None, None]).sum(axis=1)
        return np.asarray(np.einsum("nsk,nk->sn", along, squares))

    def largest(self, rng: Rng, members: NDArray[np.bool_]) -> float:
        total = self.on_grid[:, members].sum(axis=1).reshape(-1, 3, 3)
        return float(np.linalg.eigvalsh(total)[:, -1].max())


def _received(fields: Fields, position: F64, axis: F64, present: NDArray[np.bool_]) -> F64:
    inside = position * (fields.half_edge_m / HALF_EDGE_M)
    return np.asarray((fields.received(inside, axis) * present[:, : len(position)]).sum(axis=0) + SILENCE_W_M2)


def _presence(rng: Rng, count: int) -> NDArray[np.bool_]:
    return presence(rng, str(rng.choice(["always", "busy", "beacons", "telegrams"], p=[0.55, 0.2, 0.17, 0.08])), count)


def presence(rng: Rng, kind: str, count: int) -> NDArray[np.bool_]:
    """On the air by sample: ``always``, ``busy`` (blocks with beacons between), ``beacons`` alone, or ``telegrams``."""
    if kind == "always":
        return np.ones(count, np.bool_)
    beacons = (np.arange(count) + int(rng.integers(5))) % 5 == 0
    if kind == "beacons":
        return beacons
    if kind == "telegrams":
        return np.asarray(np.convolve(rng.random(count) < 1 / (6 * RATE_HZ), np.ones(3))[:count] > 0)
    block = max(1, int(rng.uniform(0.2, 0.8) * RATE_HZ))
    blocks = rng.random(count // block + 2) < rng.uniform(0.3, 0.8)
    return np.asarray(np.repeat(blocks, block)[:count] | beacons)


def largest_usual(rng: Rng, fields: Fields, present: NDArray[np.bool_]) -> float:
    """Largest value over the cube, all axes and the sets of sources that are usually on the air together."""
    sets, counts = np.unique(present, axis=1, return_counts=True)
    usual = sets[:, counts >= USUAL_SHARE * present.shape[1]].T
    return max((fields.largest(rng, members) for members in usual if members.any()), default=0.0) + SILENCE_W_M2


class _Hand:
    """Where the antenna is and how it is turned, by sample."""

    def __init__(self, rng: Rng, count: int, coached: bool = False) -> None:
        self.rng, self.count, self.marks = rng, count, list[tuple[int, ScanPart]]()
        fast = count < 14 * RATE_HZ
        self.speed = rng.uniform(0.3, 0.7) if fast else rng.uniform(0.08, 0.36)
        back = rng.random() < GOES_BACK_SHARE and not fast
        self.turning = bool(rng.random() < TURNS_SHARE)
        sweeps_turning = self.turning and not (back and rng.random() < ONLY_THERE_SHARE)
        self.turn_rate = rng.uniform(0.1, 0.45) if sweeps_turning else 0.0
        self.box = np.array([HALF_EDGE_M] * 3)
        self.middle = np.zeros(3)
        self.thorough = bool(rng.random() < THOROUGH_SHARE)
        self.manner = str(
            rng.choice([*MANNERS, "turning, then by chance"] if self.turning else ["by chance", "in turn"])
        )
        self.wanted = int(rng.integers(1, MOST_SPOTS + 1))
        self.whole = bool(rng.random() < 0.8)
        if not self.whole:
            side = int(rng.integers(3))
            self.box[side] /= 2
            self.middle[side] = rng.choice([-1, 1]) * self.box[side]
        self.first = int(count * rng.uniform(0.2, 0.6)) if back else count
        again = bool(rng.random() < AGAIN_SHARE) and count - self.first > AGAIN_ROOM_S * RATE_HZ
        self.again_s = rng.uniform(10.0, 30.0) if again else 0.0
        if coached:
            self._do_as_told()

    def _do_as_told(self) -> None:
        self.speed, self.turning, self.turn_rate = self.rng.uniform(0.12, 0.3), True, self.rng.uniform(0.15, 0.45)
        self.box, self.middle, self.whole, self.thorough = np.array([HALF_EDGE_M] * 3), np.zeros(3), True, True
        self.manner, self.first = "turning, then by chance", int(COACHED_SWEEP_S * RATE_HZ)
        self.wanted, self.again_s = COACHED_SPOTS, COACHED_AGAIN_S

    def sweep(self, received: Received) -> tuple[F64, F64]:
        """Positions and axes, each of shape (count, 3); ``received`` tells the hand what it heard so far."""
        position = self._free(self.first) if self.rng.random() < 0.5 else self._raster(self.first)
        axis = self._axes(self.first, self.turn_rate)
        if self.again_s > 0.0:
            position, axis = self._sweep_again(*self._search_loudest(position, axis, received), received)
        if self.first < self.count:
            position, axis = self._back(position, axis, received)
        return position, axis

    def _search_loudest(self, position: F64, axis: F64, received: Received) -> tuple[F64, F64]:
        loudest, count = int(received(position, axis, 0).argmax()), int(COACHED_FIRST_S * RATE_HZ)
        self.marks.append((len(position), ScanPart.SPOT))
        begin = (position[loudest], axis[loudest])
        found = self._turn_and_climb(position[-1], axis[-1], begin, count, len(position), received)
        return np.concatenate([position, found[0]]), np.concatenate([axis, found[1]])

    def _sweep_again(self, position: F64, axis: F64, received: Received) -> tuple[F64, F64]:
        """All of the cube with the antenna held as it stood at the highest value."""
        count = int(self.again_s * RATE_HZ)
        self.marks.append((len(position), ScanPart.AGAIN))
        held = axis[received(position, axis, 0).argmax()]
        self.speed = SWEPT_AGAIN_M / self.again_s
        way = self._in_layers(count, 3, 4)
        turned = held + 0.05 * np.column_stack([_smooth(self.rng, count, 0.3) for _ in range(3)])
        turned /= np.linalg.norm(turned, axis=1, keepdims=True)
        return np.concatenate([position, way]), np.concatenate([axis, turned])

    def _free(self, count: int) -> F64:
        knots = max(4, int(count / RATE_HZ * self.speed / 0.18) + 4)
        targets = self.middle + self.rng.uniform(-1, 1, (knots, 3)) * self.box
        return self._along(targets, count)

    def _raster(self, count: int) -> F64:
        lines = max(2, int(np.sqrt(count / RATE_HZ * self.speed / 0.5)))
        return self._in_layers(count, max(1, lines // 2), lines)

    def _in_layers(self, count: int, layers: int, lines: int) -> F64:
        order = self.rng.permutation(3)
        points = []
        for layer in np.linspace(-1, 1, layers) if layers > 1 else [0.0]:
            for line, across in enumerate(np.linspace(-0.9, 0.9, lines)):
                ends = (-1, 1) if line % 2 else (1, -1)
                points += [(end, across, layer) for end in ends]
        return self._along(self.middle + np.array(points)[:, order] * self.box, count)

    def _along(self, targets: F64, count: int) -> F64:
        lengths = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(targets, axis=0), axis=1))])
        pace = np.cumsum(np.exp(_smooth(self.rng, count, 1.5) * 0.3))
        way = pace / pace[-1] * min(lengths[-1], self.speed * count / RATE_HZ)
        track = np.column_stack([np.interp(way, lengths, targets[:, i]) for i in range(3)])
        return track + 0.004 * np.column_stack([_smooth(self.rng, count, 0.4) for _ in range(3)])

    def _axes(self, count: int, turns_per_s: float) -> F64:
        begin = self.rng.normal(size=3)
        step = 2 * np.pi * turns_per_s / RATE_HZ
        spin = np.column_stack([_smooth(self.rng, count, 2.0) for _ in range(3)])
        spin *= step / (np.linalg.norm(spin, axis=1, keepdims=True) + 1e-9)
        x, y, z = (float(v) for v in begin / np.linalg.norm(begin))
        rows = []
        for a, b, c in spin.tolist():
            x, y, z = x + b * z - c * y, y + c * x - a * z, z + a * y - b * x
            length = math.sqrt(x * x + y * y + z * z)
            x, y, z = x / length, y / length, z / length
            rows.append((x, y, z))
        axes = np.array(rows).reshape(-1, 3)
        tremble = 0.05 * np.column_stack([_smooth(self.rng, count, 0.3) for _ in range(3)])
        axes = axes + tremble
        return np.asarray(axes / np.linalg.norm(axes, axis=1, keepdims=True))

    def _back(self, position: F64, axis: F64, received: Received) -> tuple[F64, F64]:
        """Go back to the loudest spots of the first sweep and climb about each, always on from the best found so far."""
        heard = received(position, axis, 0)
        spots: list[int] = []
        for index in np.argsort(heard)[::-1]:
            if all(np.linalg.norm(position[index] - position[s]) > 0.08 for s in spots):
                spots.append(int(index))
            if len(spots) >= self.wanted:
                break
        shares = np.full(len(spots), 1.0 / len(spots))
        if self.thorough and len(spots) > 1:
            shares = np.append(0.6 * shares, 0.4)
        ends = np.round(np.cumsum(shares) * (self.count - len(position))).astype(int)
        each = np.diff(np.concatenate([[0], ends]))
        searches = {"still, turning": self._turn_about, "turning, then by chance": self._turn_and_climb}
        search = searches.get(self.manner, self._climb)
        for k, count in enumerate(each):
            loudest = int(received(position, axis, 0).argmax())
            spot = spots[k] if k < len(spots) else loudest
            begin = (position[spot], axis[spot])
            self.marks.append((len(position), ScanPart.SPOT))
            found = search(position[-1], axis[-1], begin, int(count), len(position), received)
            position, axis = np.concatenate([position, found[0]]), np.concatenate([axis, found[1]])
        return position[: self.count], axis[: self.count]

    def _climb(
        self, at: F64, turned: F64, best: tuple[F64, F64], count: int, start: int, received: Received
    ) -> tuple[F64, F64]:
        ways, axes, done, loudest = [], [], 0, 0.0
        target, aim = best
        held = turned
        reach, tilt = self.rng.uniform(0.012, 0.08), self.rng.uniform(0.15, 0.6) if self.turning else 0.03
        slow, finer = (0.4, 0.82) if self.thorough else (0.8, 1.0)
        while done < count:
            steps = min(max(6, int(self.rng.uniform(0.15, slow) * RATE_HZ)), count - done)
            part = np.linspace(0, 1, steps)[:, None]
            way, axis = at + (target - at) * part, turned + (aim - turned) * part
            axis = axis / (np.linalg.norm(axis, axis=1, keepdims=True) + 1e-12)
            heard = received(way, axis, start + done)
            better = bool(heard.max() > loudest)
            if better:
                loudest, best = float(heard.max()), (way[heard.argmax()], axis[heard.argmax()])
            reach = max(0.006, reach * (1.0 if better else finer**0.5))
            tilt = max(0.06, tilt * (1.0 if better else finer**0.5)) if self.turning else tilt
            at, turned, done = way[-1], axis[-1], done + steps
            ways.append(way)
            axes.append(axis)
            step = self._next_step(len(ways), reach, tilt)
            target = np.clip(best[0] + step[0], self.middle - self.box, self.middle + self.box)
            aim = (best[1] * np.sign(best[1] @ turned) if self.turning else held) + step[1]
            aim = aim / np.linalg.norm(aim)
        return np.concatenate(ways), np.concatenate(axes)

    def _turn_and_climb(
        self, at: F64, turned: F64, best: tuple[F64, F64], count: int, start: int, received: Received
    ) -> tuple[F64, F64]:
        """Turn through two half circles at the spot, then climb on from the best of them."""
        first = min(count, int(self.rng.uniform(2.5, 4.5) * RATE_HZ))
        way, axis = self._turn_about(at, turned, best, first, start, received)
        if first == count:
            return way, axis
        top = int(received(way, axis, start).argmax())
        more = self._climb(way[-1], axis[-1], (way[top], axis[top]), count - first, start + first, received)
        return np.concatenate([way, more[0]]), np.concatenate([axis, more[1]])

    def _turn_about(
        self, at: F64, turned: F64, best: tuple[F64, F64], count: int, start: int, received: Received
    ) -> tuple[F64, F64]:
        """Hold still at the spot and turn through two half circles, then shift along three lines; on from the best."""
        ways, axes, done, loudest = [], [], 0, 0.0
        pace, reach = self.rng.uniform(1.0, 2.2), self.rng.uniform(0.02, 0.05)
        legs: list[tuple[F64, F64]] = [(best[0], best[1])]
        while done < count:
            target, aim = legs.pop(0)
            aim = aim * (np.sign(aim @ turned) or 1.0)
            seconds = max(
                0.15, float(np.arccos(np.clip(aim @ turned, -1, 1))) / pace, float(np.linalg.norm(target - at)) / 0.2
            )
            steps = min(max(8, int(seconds * RATE_HZ)), count - done)
            part = np.linspace(0, 1, steps)[:, None]
            way = at + (target - at) * part + 0.002 * np.column_stack([_smooth(self.rng, steps, 0.4) for _ in range(3)])
            axis = turned + (aim - turned) * part
            axis = axis / (np.linalg.norm(axis, axis=1, keepdims=True) + 1e-12)
            heard = received(way, axis, start + done)
            if heard.max() > loudest:
                loudest, best = float(heard.max()), (way[heard.argmax()], axis[heard.argmax()])
            at, turned, done = way[-1], axis[-1], done + steps
            ways.append(way)
            axes.append(axis)
            if not legs:
                legs = self._round(best, reach)
                reach *= 0.7
        return np.concatenate(ways), np.concatenate(axes)

    def _round(self, best: tuple[F64, F64], reach: float) -> list[tuple[F64, F64]]:
        """Two half circles of the antenna at the best place so far, then six small shifts with the best direction."""
        place, axis = best
        across = np.cross(axis, self.rng.normal(size=3))
        across /= np.linalg.norm(across)
        third = np.cross(axis, across)
        circles = [
            (place, np.cos(angle) * axis + np.sin(angle) * other)
            for other in (across, third)
            for angle in np.radians((40.0, 80.0, 120.0, 160.0, 180.0))
        ]
        shifts = [np.clip(place + sign * reach * line, self.middle - self.box, self.middle + self.box)
                  for line in np.eye(3) for sign in (1, -1)]  # fmt: skip
        return [*circles, *((shift, axis) for shift in shifts), (place, axis)]

    def _next_step(self, tries: int, reach: float, tilt: float) -> tuple[F64, F64]:
        """Where to try next from the best so far: by chance, or in turn along each direction, ever more finely."""
        if self.manner != "in turn":
            return self.rng.normal(0, reach, 3), self.rng.normal(0, tilt, 3)
        along = np.eye(3)[tries // 2 % 3] * (1 if tries % 2 else -1)
        finer = 0.5 ** (tries // 12)
        move, turn = (0.0, 2.5) if tries // 6 % 2 == 0 else (1.5, 0.0)
        wobble = self.rng.normal(0, 0.1, (2, 3))
        return reach * finer * (move * along + wobble[0]), tilt * max(finer, 0.3) * (turn * along + wobble[1])


def _smooth(rng: Rng, count: int, seconds: float) -> F64:
    """Noise of unit spread that changes over so many seconds."""
    knots = max(4, int(count / RATE_HZ / seconds) + 3)
    return np.asarray(np.interp(np.linspace(0, knots - 1, count), np.arange(knots), rng.normal(size=knots)))
