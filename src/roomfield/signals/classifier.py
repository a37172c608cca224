"""From evidence to probability, in three hearings.

The first weighs the evidence of each technology by itself: small decision trees and one weighted sum. The second
weighs the same evidence again together with what the first said of all technologies, so that a mark which a
stronger technology explains no longer counts for its twin. The mean of both is calibrated; a third hearing sets it right on
recordings as people make them (codecs, low rates, gain riding, rooms, wrong clocks) and beside emitters outside the table. Where a
telephone's line or a low rate has left less than 6 kHz, a hearing that knows such recordings only takes the third's place.
Each of these later hearings weighs twice, as the first two do.

The parameters are a data file made from simulated recordings by the maker script; nothing here
is fitted. A technology that lives on exact rates or on bursts cannot be claimed without them, whatever
the trees say: see ``REQUIREMENTS``; a mark that nothing else has suffices: see ``MARKS``.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import cache
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError
from roomfield.signals.audio_kernels import leaves
from roomfield.signals.cleaning import CERTAIN
from roomfield.signals.hearing import CLAIM
from roomfield.signals.telegrams import BEAM_ALIKE

_log = logging.getLogger("roomfield.signals")

F64 = NDArray[np.float64]

WITHOUT_EVIDENCE = 0.2
WITH_MARK = 0.9
CLOCKED = ("100odd", "200odd", "400", "500odd", "1000odd", "gsm217")
CLOCKED_SCORE = 300.0
PACKET_S = 424 / 1.152e6  # EN 300 175-2: 424 bits of a packet P32
PACKET_NEAR, PACKET_STRENGTH, PACKET_LINES = 0.1, 1.0, 0.9
BESIDE_TRAFFIC = 0.4  # one comb of beacons under traffic is that network's: it sends no beacons only
TREES_SHARE = 0.7
LINEAR_LIMIT = 4.0
FIRST_LIMIT = 8.0
ON_GRID = 0.9
GUARD_ALONE = 1.0  # decades
OUTSHINES = 1.5
CAUTION = (
    1.0  # log odds that the answer to "any transmitter at all?" must have beyond one half before a name is claimed
)
ANY = "any transmitter"
WHOLE_BAND_HZ, MOST_OCTAVES = 8000.0, 1.2
SLOPE_LOST, DOUBT = 0.13, 0.3  # an octave
NAME_DOUBT = 0.3  # log odds taken off every name: a fifth of the wrong names fall, and one in a hundred of F1
NARROW_TOP_HZ = 5700.0
NARROW_DOUBT = 0.6  # log odds taken off every name there: more are right than without that hearing, and fewer wrong


@dataclass(frozen=True)
class Trees:
    """All trees of all technologies in flat arrays.

    Attributes
    ----------
    feature, left, right : ndarray of int
        Node tables; a leaf has feature -1.
    threshold, value : ndarray
        Split threshold (go left if not above it), leaf value [log odds].
    roots, owners : ndarray of int
        First node of each tree, and the index of its technology.
    base : ndarray, shape (technologies,)
        Log odds before any tree.
    """

    feature: NDArray[np.int64]
    threshold: F64
    left: NDArray[np.int64]
    right: NDArray[np.int64]
    value: F64
    roots: NDArray[np.int64]
    owners: NDArray[np.int64]
    base: F64

    def odds(self, numbers: F64) -> F64:
        """Log odds of each technology for one vector of numbers."""
        reached = leaves(numbers, self.feature, self.threshold, self.left, self.right, self.roots)
        return np.asarray(np.bincount(self.owners, self.value[reached], minlength=self.base.size) + self.base)


@dataclass(frozen=True)
class LaterHearing:
    """What sets the answers so far right on recordings of another kind.

    Attributes
    ----------
    features : tuple of str
        Numbers of evidence in order; the answers so far come before them.
    once : Trees
        Weigh all technologies.
    twice : Trees
        Weigh the owners again, beside what ``once`` said of all; its answers come first.
    owners : ndarray of int
        Index among all technologies of each that is set right; the others keep what was said so far.
    sums : ndarray, shape (n, 4)
        Weights of the log odds so far, of both weighings, and offset.
    """

    features: tuple[str, ...]
    once: Trees
    twice: Trees
    owners: NDArray[np.int64]
    sums: F64

    def log_odds(self, so_far: F64, numbers: dict[str, float]) -> F64:
        """Log odds of all technologies from those so far and the evidence."""
        known = _limited(so_far)
        evidence = np.concatenate([known, [numbers[name] for name in self.features]])
        once = self.once.odds(evidence)
        twice = self.twice.odds(np.concatenate([_limited(once), evidence]))
        parts = np.column_stack([known[self.owners], once[self.owners], twice, np.ones(self.owners.size)])
        out = so_far.copy()
        out[self.owners] = (self.sums * parts).sum(1)
        return out


def _limited(odds: F64) -> F64:
    return np.clip(odds, -FIRST_LIMIT, FIRST_LIMIT)


@dataclass(frozen=True)
class Forest:
    """Parameters of all hearings.

    Attributes
    ----------
    names, features : tuple of str
        Technologies, and the numbers of evidence in order.
    first, second : Trees
        The second's numbers are the first hearing's log odds of all technologies, then the evidence.
    centre, spread : ndarray, shape (features,)
        What is subtracted and divided by before the weighted sum.
    weights, offset : ndarray, shape (technologies, features) and (technologies,)
        Weighted sum of the first hearing [log odds].
    slope, shift : ndarray, shape (technologies,)
        Calibration line of the mean of both hearings.
    third : LaterHearing or None
        What sets both right.
    narrow : LaterHearing or None
        What does so in the third's place where a recording's band ends below ``NARROW_TOP_HZ``.
    """

    names: tuple[str, ...]
    features: tuple[str, ...]
    first: Trees
    second: Trees
    centre: F64
    spread: F64
    weights: F64
    offset: F64
    slope: F64
    shift: F64
    third: LaterHearing | None = None
    narrow: LaterHearing | None = None

    @property
    def evidence_names(self) -> tuple[str, ...]:
        """Every number of evidence that any hearing or mark looks at."""
        more = [name for hearing in (self.third, self.narrow) if hearing for name in hearing.features]
        return tuple(dict.fromkeys((*self.features, *more, "guard.alone", "guard.second")))

    def all_odds(self, numbers: dict[str, float]) -> F64:
        """Calibrated log odds of each technology for named evidence, by three hearings."""
        two = self.two_hearings(np.array([numbers[name] for name in self.features]))
        return two if self.third is None else self.third.log_odds(two, numbers)

    def odds_on_path(self, numbers: dict[str, float]) -> F64:
        """The same with what the path of the recording has left in view."""
        odds = on_narrow_paths(self.doubted(self.all_odds(numbers)), numbers, self)
        if self.narrow is None or not is_narrow(numbers):
            return odds
        two = self.two_hearings(np.array([numbers[name] for name in self.features]))
        owners = self.narrow.owners
        doubt = np.array([0.0 if self.names[owner] == ANY else NARROW_DOUBT for owner in owners])
        odds[owners] = self.narrow.log_odds(two, numbers)[owners] - doubt
        return odds

    def doubted(self, odds: F64) -> F64:
        """Log odds less a doubt of every name: a wrong one harms more than one left out."""
        return np.asarray(odds - NAME_DOUBT * np.array([name != ANY for name in self.names]))

    def two_hearings(self, numbers: F64) -> F64:
        """Calibrated log odds of each technology by the first two hearings for one vector of evidence."""
        first = self.first_odds(numbers)
        known = np.concatenate([_limited(first), numbers])
        return np.asarray(self.slope * 0.5 * (first + self.second.odds(known)) + self.shift)

    def first_odds(self, numbers: F64) -> F64:
        """Log odds of the first hearing, not calibrated."""
        return np.asarray(TREES_SHARE * self.first.odds(numbers) + (1 - TREES_SHARE) * self.linear_odds(numbers))

    def linear_odds(self, numbers: F64) -> F64:
        """Log odds by the weighted sum of the scaled evidence, each number limited to four spreads."""
        scaled = np.clip((numbers - self.centre) / self.spread, -LINEAR_LIMIT, LINEAR_LIMIT)
        return np.asarray(self.weights @ scaled + self.offset)


def kept_forest(path: str | Path) -> Forest:
    """The parameters of a file of arrays, as the maker script writes it.

    Raises
    ------
    OSError, ValueError, KeyError
        If there is no such file, or something is missing in it.
    """
    with np.load(path) as file:
        tables = {name: file[name] for name in file.files}

    def trees(prefix: str) -> Trees:
        found = {field.name: tables[f"{prefix}.{field.name}"] for field in fields(Trees)}
        return Trees(**{k: v.astype(np.float64 if v.dtype.kind == "f" else np.int64) for k, v in found.items()})

    def later(name: str) -> LaterHearing | None:
        if f"{name}.owners" not in tables:
            return None
        return LaterHearing(
            tuple(tables[f"{name}.features"].tolist()), trees(f"{name}.once"), trees(f"{name}.twice"),
            tables[f"{name}.owners"].astype(np.int64), tables[f"{name}.sums"],
        )  # fmt: skip

    plain = {name: tables[name] for name in ("centre", "spread", "weights", "offset", "slope", "shift")}
    return Forest(
        names=tuple(tables["names"].tolist()), features=tuple(tables["features"].tolist()), first=trees("first"),
        second=trees("second"), third=later("third"), narrow=later("narrow"), **plain,
    )  # fmt: skip


@cache
def shipped_forest() -> Forest:
    """The parameters that come with the package."""
    try:
        with resources.as_file(resources.files("roomfield.signals").joinpath("data/classifier.npz")) as path:
            return kept_forest(path)
    except (OSError, ValueError, KeyError) as fault:
        raise FormatError(
            "the classifier's parameters cannot be read.", where="signals/data/classifier.npz",
            mend="Reinstall the package, or remake the file with the maker script.",
        ) from fault  # fmt: skip


@dataclass(frozen=True)
class Judgement:
    """Probability of each technology, and that there is any transmitter at all, listed or not."""

    chances: dict[str, float]
    transmitter: float


def probabilities(numbers: dict[str, float], forest: Forest | None = None) -> dict[str, float]:
    """Probability of each technology for the evidence of one block."""
    return judge(numbers, forest).chances


def judge(numbers: dict[str, float], forest: Forest | None = None) -> Judgement:
    """What the evidence of one block says.

    No technology is more probable than that there is a transmitter at all, which an ensemble of its own answers and which
    is taken with caution: a name given to hum or speech is worse than one left out.
    """
    forest = forest or shipped_forest()
    odds = forest.odds_on_path(numbers)
    odds -= CAUTION * np.array([name == ANY for name in forest.names])
    chances = dict(zip(forest.names, (1 / (1 + np.exp(-np.clip(odds, -30, 30)))).tolist(), strict=True))
    transmitter = chances.pop(ANY, 1.0)
    most = max(transmitter, WITH_MARK) if _clocked(numbers) else transmitter
    limited = {
        name: min(max(chance, _floor(name, numbers)), most, _limit(name, numbers)) for name, chance in chances.items()
    }
    for name in (name for name, chance in chances.items() if chance >= CLAIM > limited[name]):
        why = "what it requires is lacking" if _limit(name, numbers) < CLAIM else "there may be no transmitter at all"
        _log.debug(
            "vetoed %s: %.2f by its own evidence, %.2f let stand, for %s", name, chances[name], limited[name], why
        )
    if limited.get("wifi_data", 0.0) > max(limited.get("wifi_beacon", 0.0), CLAIM):
        limited["wifi_beacon"] = min(limited["wifi_beacon"], BESIDE_TRAFFIC)
    return Judgement(limited, max(transmitter, *limited.values()))


def on_narrow_paths(odds: F64, numbers: dict[str, float], forest: Forest) -> F64:
    """Log odds of names drawn towards no and less sure, the narrower the band that a recording's path has left.

    What parts names from one another lies above some kHz. The slope is what 882 simulated scenes whose band ends below 7 kHz ask
    for (log loss on answers of twins that had not seen them: 0.13 and a doubt of 0.1); the rest is caution, as a wrong name harms
    most.
    """
    octaves = float(np.clip(np.log2(WHOLE_BAND_HZ) - numbers["band.top"] / np.log10(2.0), 0.0, MOST_OCTAVES))
    names = np.array([name != ANY for name in forest.names])
    return np.where(names, (1 - SLOPE_LOST * octaves) * odds - DOUBT * octaves, odds)


def is_narrow(numbers: dict[str, float]) -> bool:
    """Whether the path of a recording has left so little that the hearing for narrow bands answers."""
    return numbers["band.top"] < float(np.log10(NARROW_TOP_HZ))


def _clocked(numbers: dict[str, float]) -> bool:
    """Whether the lines of an exact frame stand so high throughout that a clock made them: then each name speaks for itself."""
    tall = max(numbers[f"{name}.score"] for name in CLOCKED) > float(np.arcsinh(CLOCKED_SCORE))
    return tall or _cordless_packet(numbers)


def _cordless_packet(numbers: dict[str, float]) -> bool:
    """Whether nearly every line of a frame of 10 ms is there and what repeats is as wide as a cordless base's packet P32.

    So few lines are left of a low rate or a telephone's line that they cannot stand as high as a clock's do elsewhere. Of
    17,200 simulated scenes 173 are so, 164 of them with a cordless base.
    """
    width_s = (10 ** numbers["10ms.width"] - 1e-2) * 1e-3
    packet = abs(width_s / PACKET_S - 1) < PACKET_NEAR and numbers["10ms.strength"] > PACKET_STRENGTH
    return packet and numbers["100odd.hits"] > PACKET_LINES


def _floor(name: str, numbers: dict[str, float]) -> float:
    return WITH_MARK if name in MARKS and MARKS[name](numbers) else 0.0


def _limit(name: str, numbers: dict[str, float]) -> float:
    return 1.0 if all(rule(numbers) for rule in REQUIREMENTS.get(name, ())) else WITHOUT_EVIDENCE


Rule = Callable[[dict[str, float]], bool]


def _comb(*names: str, score: float = 6.0) -> Rule:
    """At least one of the combs stands out (score before the arcsinh of the evidence)."""
    limit = float(np.arcsinh(score))
    return lambda numbers: any(numbers[f"{name}.score"] >= limit for name in names)


def _beside(*names: str, decades: float) -> Rule:
    """At least one comb stands above the lines of a denser comb that would contain it."""
    keys = [f"beside.{name}.{band}" for name in names for band in ("low", "high")]
    return lambda numbers: any(numbers[key] >= decades for key in keys)


def _stands(name: str, *steps_hz: float, decades: float) -> Rule:
    """A comb stands above the places beside it at every one of the steps."""
    keys = [(f"beside.{name}/{step:.4g}.low", f"beside.{name}/{step:.4g}.high") for step in steps_hz]
    return lambda numbers: all(max(numbers[low], numbers[high]) >= decades for low, high in keys)


def _score(*keys: str, least: float) -> Rule:
    """At least one of the scores (before the arcsinh of the evidence) is reached."""
    limit = float(np.arcsinh(least))
    return lambda numbers: any(numbers[key] > limit for key in keys)


def _some(*names: str) -> Rule:
    """At least one of the counts is not zero."""
    return lambda numbers: any(numbers[name] > 0 for name in names)


def _none(*names: str) -> Rule:
    """All of the counts are zero."""
    return lambda numbers: all(numbers[name] == 0 for name in names)


def _both(*rules: Rule) -> Rule:
    return lambda numbers: all(rule(numbers) for rule in rules)


def _either(*rules: Rule) -> Rule:
    return lambda numbers: any(rule(numbers) for rule in rules)


def _off_grid(numbers: dict[str, float]) -> bool:
    """Bursts do not all start on the slots of a cellular frame that is certainly there: else they are its own."""
    frame = max(numbers[f"{name}.score"] for name in ("200odd", "1000odd", "400")) > float(np.arcsinh(CERTAIN))
    on_grid = any(
        numbers[f"lattice.{step}.wide"] > ON_GRID and numbers[f"lattice.{step}.wide.score"] > float(np.arcsinh(6.0))
        for step in (500, 1000)
    )
    return not (frame and on_grid)


def _before_mains(numbers: dict[str, float]) -> bool:
    """The weak lines of a broadcast multiplex are no strays of a mains comb that outshines them and every exact frame."""
    mains = max(numbers[f"mains{name}.score"] for name in ("50odd", "100", "60odd", "120"))
    frame = max(numbers[f"{name}.score"] for name in ("50odd", "100odd", "200odd", "400", "1000odd", "2000"))
    outshone = mains > max(float(np.arcsinh(CERTAIN)), numbers["dvbt.score"])
    return not (outshone and frame < mains - OUTSHINES)


def _beam(numbers: dict[str, float]) -> bool:
    """A loud moment repeats itself after one step and after two: pulses that are too faint or too blurred to be counted."""
    return min(numbers["beam.alike"], numbers["beam.again"]) > BEAM_ALIKE


# Combs of which a name needs one at least.
LIVES_ON: dict[str, tuple[str, ...]] = {
    "dect": ("100odd", "200odd", "400"),
    "gsm": ("gsm217", "gsm1733"),
    "lte_fdd": ("200odd", "1000odd", "2000", "100odd", "400"),
    "lte_tdd": ("200odd", "1000odd", "100odd", "400"),
    "nr_tdd": ("50odd", "400", "200odd", "500odd", "100odd", "25odd", "2000"),
    "nr_fdd": ("50odd", "100odd", "200odd", "25odd", "1000odd", "2000"),
    "nr_ue_tdd": ("400", "200odd", "500odd", "2000", "100odd"),
    "wifi_beacon": ("beacon100", "beacon100low", "beacon100high", "beacon200", "beacon300"),
    "tetra": ("tetra17", "tetra70", "tetra18k"),
    "dmr": ("16",),
    "umts": ("umts1500", "500odd"),
    "microwave_oven": ("mains50odd", "mains100", "mains60odd", "mains120"),
}  # fmt: skip

REQUIREMENTS: dict[str, tuple[Rule, ...]] = {
    "dect": (_comb(*LIVES_ON["dect"]),),
    "gsm": (_comb(*LIVES_ON["gsm"]), _beside("gsm217/16.67", "gsm1733/216.7", decades=0.2)),
    "lte_fdd": (_comb(*LIVES_ON["lte_fdd"]),),
    "lte_tdd": (_comb(*LIVES_ON["lte_tdd"]),),
    "nr_tdd": (_comb(*LIVES_ON["nr_tdd"]),),
    "nr_fdd": (_comb(*LIVES_ON["nr_fdd"]),),
    "nr_ue_tdd": (_comb(*LIVES_ON["nr_ue_tdd"]),),
    "wifi_beacon": (_comb(*LIVES_ON["wifi_beacon"], score=5.0),),
    "tetra": (
        _comb(*LIVES_ON["tetra"]),
        _either(
            _beside("tetra17/8.824", decades=0.1),
            _both(
                _comb("tetra18k"),
                _stands("tetra18k", 100.0, 200.0, 1000.0, 2000.0, decades=0.4),
                _none("taken.gsm", "taken.bt", "taken.sixty"),
            ),
        ),
    ),
    "dmr": (_comb(*LIVES_ON["dmr"]), _beside("16/8.333", decades=0.05)),
    "dvbt": (_comb("dvbt"), _before_mains),
    "umts": (_comb(*LIVES_ON["umts"]),),
    "bluetooth_classic": (
        _either(
            _both(
                _comb("bt266", "bt133", "bt1600", "bt800"),
                _either(
                    _beside("bt266/16.67", "bt133/16.67", "bt1600/100", "bt800/100", decades=0.2),
                    _score("lattice.625.score", least=6.0),
                ),
            ),
            _score("lattice.625.wide.score", "lattice.625.slot.score", least=6.0),
        ),
    ),
    "microwave_oven": (_comb(*LIVES_ON["microwave_oven"]),),
    "radar": (_either(_some("trains.count", "groups.trains"), _beam),),
    "ism_remote": (_off_grid,),
    "zigbee": (_off_grid,),
    "lora": (_some("long.1", "long.2"),),
    "bluetooth_le_adv": (_some("triplets.hits", "groups.triplets"),),
}

# Marks that nothing else has: of 25,000 simulated scenes 340 show slots of 625 us in the gaps of wide bursts, before every
# cellular grid, and a comb at 1600 Hz as well; in 337 of them Bluetooth is there.
# Of 17,200 simulated scenes 107 have a line at the rate of GSM's slots that stands over all within 300 Hz, and its double; in 106
# of them GSM is there: a base's first carrier sends in all eight slots and never pauses.
MARKS: dict[str, Rule] = {
    "gsm": lambda numbers: min(numbers["guard.alone"], numbers["guard.second"]) > GUARD_ALONE,
    "bluetooth_classic": _both(
        _score("lattice.625.wide.score", least=10.0),
        _comb("bt1600", score=10.0),
        lambda numbers: numbers["slots.both"] > 2.0,
    ),
}
