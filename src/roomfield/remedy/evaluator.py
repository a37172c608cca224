"""Levels after any plan, as draws: the posterior's draws times what the plan does to every group of paths.

Each emitter's local mean is ``draw x scale x share let through``; the share let through is the power sum of all paths
after the plan over that before, found in the geometry, and doubted the more the further it is from 1. The largest spot
of a scan lies over the sum of these means by the root of the sum of squares of what each emitter's own largest spot
lies over its mean: emitters of different frequencies fade independently, so that their deviations add in variance.
What is left of one transmitter after the others are gone therefore stands out more than the sum did.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple
from zlib import crc32

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from roomfield.errors import InputError, TooEarlyError, UnknownNameError
from roomfield.field.hand_scan import scan_gain
from roomfield.field.measured import Tie
from roomfield.field.posterior import LevelDraws, Posterior
from roomfield.field.priors import rice_factor
from roomfield.quantities import Kind
from roomfield.remedy import plan_kernels
from roomfield.remedy.baseline_paths import Groundwork
from roomfield.remedy.effects import columns_of, effects_of
from roomfield.remedy.path_groups import PathGroups
from roomfield.survey.action import Action
from roomfield.survey.dwelling import Point3
from roomfield.survey.place import Place

Array = NDArray[np.float64]
Array32 = NDArray[np.float32]
COMMON_DOUBT, MOST_COMMON_DOUBT = 0.06, 0.13
"""Standard deviation of the predicted change [dB] per decibel of it, alike at all places: how well the work is done,
and how far walls and sheets are as drawn (our judgement; a sheet's own uncertainty comes to it)."""
LOCAL_DOUBT_DB, LOCAL_DOUBT_FROM_DB = 2.6, 7.0
"""Standard deviation at one place alone [dB], and the change from which on most of it counts: what is left after the
work is other paths, whose interference nobody has measured there (see `Evaluator.doubt`)."""
MOST_DEVIATE = 2.0
"""Normal deviates are cut there, so that a level never rises as more is shielded."""
STEPS_PER_DB, MOST_DB = 2.0, 80
SIZES_DB = np.arange(MOST_DB * STEPS_PER_DB + 1) / STEPS_PER_DB
DOUBTS = 8
"""Values of the doubt in each draw over which the chance of missing a target is averaged."""
RICE_LEAK = 2.5
"""Strongest path over all others behind a shield: less than from a far mast, more than from a source in the room, since
a sheet that covers a wall whole weakens all paths through it alike (our judgement, with a ray tracer in view)."""
HANDSET_WORDS = ("phone", "handset", "handheld")
HANDSET_MOST = 100.0
"""Power control of a handset makes up for at most 20 dB of shielding (our judgement)."""
State = tuple[Array, Array, Array, Array, Array]


class ChangeDoubt(NamedTuple):
    """Factors on what is let through, by the size of the change (in steps of half a decibel) and draw.

    Parameters
    ----------
    common : ndarray of float32, shape (sizes, draws)
        Alike for all.
    local : ndarray of float32, shape (sizes, 2 draws)
        Of each place and emitter, the draws twice in a row.
    first : ndarray of int, shape (places, emitters)
        Where in the rows of ``local`` each begins.
    excess : ndarray of float32, shape (sizes, emitters)
        By how much the largest spot of a scan lies over the mean of this emitter alone, as a part of the mean.
    """

    common: Array32
    local: Array32
    first: NDArray[np.int64]
    excess: Array32


@dataclass(frozen=True, eq=False)
class Variant:
    """Emitters and places where one choice of moves puts them.

    Parameters
    ----------
    levels : ndarray of float32, shape (places, emitters, draws)
        Means of the emitters before other actions [W/m²], scaled so that `crested` of them is the level.
    groups : Groups
        Paths and what each action that does not move anything makes of them.
    """

    levels: Array32
    groups: PathGroups


@dataclass(frozen=True, eq=False)
class After:
    """Levels after a plan.

    Parameters
    ----------
    total_w_m2 : ndarray, shape (draws, columns)
        Draws of the level [W/m²].
    by_emitter : ndarray, shape (emitters, columns)
        Mean contribution [W/m²].
    through : ndarray, shape (emitters, columns)
        What walls and shields let through, over that before [1].
    """

    total_w_m2: Array
    by_emitter: Array
    through: Array


class Evaluator:
    """Everything needed to judge any plan made of the given actions.

    Parameters
    ----------
    posterior : Posterior
        From `roomfield.field.infer`.
    actions : sequence of Action
        What could be done.
    kind : Kind
        Which level the target is for.
    places : sequence of Place, optional
        Left out: all of the survey's places that have a position.
    ground : Groundwork, optional
        Of the same posterior, from earlier questions.
    tied : Tie, optional
        To what was measured: every level before and after is then the measured one times the model's ratio.

    Raises
    ------
    TooEarlyError
        If no place has a position.
    UnknownNameError
        If an action names something unknown.
    InputError
        If an action is incomplete, or two have one id.
    """

    def __init__(
        self,
        posterior: Posterior,
        actions: Sequence[Action],
        *,
        kind: Kind,
        places: Sequence[Place] | None = None,
        ground: Groundwork | None = None,
        tied: Tie | None = None,
    ) -> None:
        given = posterior.survey.places if places is None else places
        self.places = tuple(p for p in given if p.position is not None)
        if not self.places:
            raise TooEarlyError("no place has a position.", mend="Put the places on the plan first.")
        if len({a.id for a in actions}) < len(actions):
            raise InputError("two actions have the same id.", mend="Give each action an id of its own.")
        self.posterior, self.kind, self.actions = posterior, kind, tuple(actions)
        self.ground = ground or Groundwork(posterior)
        self.tied = tied
        self.columns = columns_of(self.places, actions)
        effects = effects_of(posterior, actions, self.places, self.columns, kind)
        self.moving = tuple(e for e in effects if e.moves)
        self.steady = tuple(e for e in effects if not e.moves)
        self._variants: dict[tuple[str, ...], Variant] = {}
        self._harden_handsets()

    @property
    def place_of_column(self) -> NDArray[np.int64]:
        """Index of each column's place."""
        return np.array([c.place_index for c in self.columns], dtype=np.int64)

    @cached_property
    def doubt(self) -> ChangeDoubt:
        """Factors on what is let through, for the doubt about it and deeper fading.

        What is left after a shield came by other paths than before it, so that the interference known from the
        readings says nothing about it: at each place and for each device (its bands move together) the change is off
        by `LOCAL_DOUBT_DB` of its own once the change is large. What is done badly is done badly for all.
        """
        return ChangeDoubt(self._common(ndtri(self._spread)), self._local, self._first, self._excess)

    @cached_property
    def _doubts(self) -> tuple[ChangeDoubt, ...]:
        """The same for some values of the doubt in each draw: the common ones share out the normal law evenly."""
        count = len(self.posterior.x)
        return tuple(
            ChangeDoubt(
                self._common(ndtri((node + self._spread) / DOUBTS)),
                self._local,
                (self._first + node * count // DOUBTS) % count,
                self._excess,
            )
            for node in range(DOUBTS)
        )

    @property
    def _spread(self) -> Array:
        """Evenly spread over 0 to 1, one for each draw, in random order."""
        return _evenly(len(self.posterior.x), self.posterior.seed, 23)

    def _common(self, deviate: Array) -> Array32:
        """Factors of the doubt that is alike at all places, shape (sizes, draws)."""
        spread = COMMON_DOUBT
        for effect in self.steady:
            sheet = effect.action.sheet
            if sheet is not None and sheet.attenuation:
                spread = max(spread, float(np.hypot(COMMON_DOUBT, sheet.std_db / max(sheet.attenuation[0][1], 10.0))))
        off_db = min(spread, MOST_COMMON_DOUBT) * SIZES_DB[:, None] * deviate.clip(-MOST_DEVIATE, MOST_DEVIATE)
        return np.asarray(10.0 ** (off_db / 10.0), dtype=np.float32)

    @cached_property
    def _local(self) -> Array32:
        """Factors of the doubt of one place and emitter, shape (sizes, 2 draws)."""
        deviate = ndtri(_evenly(len(self.posterior.x), self.posterior.seed, 37)).clip(-MOST_DEVIATE, MOST_DEVIATE)
        off_db = LOCAL_DOUBT_DB * (1.0 - np.exp(-SIZES_DB[:, None] / LOCAL_DOUBT_FROM_DB)) * np.tile(deviate, 2)
        return np.asarray(10.0 ** (off_db / 10.0), dtype=np.float32)

    @cached_property
    def _first(self) -> NDArray[np.int64]:
        """With which draw's own doubt each place and emitter begins, shape (places, emitters).

        Each place draws by its own id, so that it is doubted alike whichever other places are asked for.
        """
        groups = [e.group for e in self.posterior.survey.emitters]
        device = [groups.index(name) for name in groups]
        count, seed = len(self.posterior.x), self.posterior.seed
        own = [
            np.random.default_rng([seed, 31, crc32(p.id.encode())]).integers(0, count, len(groups)) for p in self.places
        ]
        return np.stack(own)[:, device]

    @cached_property
    def _excess(self) -> Array32:
        """By how much the largest spot of a scan lies over the mean of each emitter alone, as a part of the mean.

        By the size of the change let through, shape (sizes, emitters). From outside, the strongest path is what a
        shield takes, and what comes round it stays: K' = K - (1 + K) (1 - t) for a share t let through, but not less
        than `RICE_LEAK`. Inside, the strongest path stays and reflections come to it: K' = K / (t (1 + K) - K) for t
        over 1. The largest of M values of Rice's law follows (our modelling choice).
        """
        emitters = self.posterior.survey.emitters
        if not self.kind.instantaneous:
            return np.zeros((len(SIZES_DB), len(emitters)), dtype=np.float32)
        rice, outdoor = np.array([rice_factor(e) for e in emitters]), np.array([e.outdoor for e in emitters])
        through = 10.0 ** (-SIZES_DB[:, None] / 10.0)
        leaking = np.maximum(rice - (1.0 + rice) * (1.0 - through), RICE_LEAK)
        left = np.where(outdoor, leaking, rice / ((1.0 + rice) / through - rice))
        found = scan_gain(self.posterior.radiators.frequencies_hz, left).median_db
        return np.asarray(10.0 ** (found / 10.0) - 1.0, dtype=np.float32)

    def variant(self, moves: Sequence[str] = ()) -> Variant:
        """Levels and paths after some moves (ids of moving actions, in any order)."""
        key = tuple(e.action.id for e in self.moving if e.action.id in moves)
        if key not in self._variants:
            self._variants[key] = self._build(key)
        return self._variants[key]

    def after(self, action_ids: Sequence[str]) -> After:
        """Levels after a plan.

        Raises
        ------
        UnknownNameError
            If an id is not among the actions.
        """
        each, over, through = self._parts(self.doubt, action_ids)
        total = crested(each, over)
        shared = each * (total / np.maximum(each.sum(axis=0), 1e-300))
        return After(total.T, shared.mean(axis=2), through)

    def contributions(self, action_ids: Sequence[str]) -> Array:
        """Draws of what each emitter adds to the level after a plan, shape (emitters, columns, draws) [W/m²]."""
        each, over, _ = self._parts(self.doubt, action_ids)
        return np.asarray(each * (crested(each, over) / np.maximum(each.sum(axis=0), 1e-300)))

    def _parts(
        self, doubt: ChangeDoubt, action_ids: Sequence[str], keep: NDArray[np.bool_] | None = None
    ) -> tuple[Array, Array, Array]:
        """Mean of each emitter kept and how far its largest spot lies over it, and what is let through.

        The first two have shape (emitters, columns, draws) [W/m²], the last (emitters, columns).
        """
        sure, through = self._undoubted(action_ids)
        if keep is not None:
            sure, through = sure[keep], through[keep]
        each, excess = self._doubted(doubt, sure, through, keep)
        return each, each * excess[..., None], through

    def _undoubted(self, action_ids: Sequence[str]) -> tuple[Array32, Array]:
        """The same as if what is let through were known."""
        variant, scale, cells = self._scaled(action_ids)
        through = cells[self.place_of_column].T
        levels = variant.levels[self.place_of_column].transpose(1, 0, 2)
        return (levels * (through * scale)[..., None]).astype(np.float32), through

    def _scaled(self, action_ids: Sequence[str]) -> tuple[Variant, Array, Array]:
        """Levels and paths after the moves of a plan, and what the rest of it does.

        The latter as factors, shape (emitters, columns), and as what is let through, shape (places, emitters).
        """
        known = {a.id for a in self.actions}
        for name in action_ids:
            if name not in known:
                raise UnknownNameError("action", name, known)
        variant = self.variant(action_ids)
        taken = [k for k, e in enumerate(self.steady) if e.action.id in action_ids]
        cells = let_through(variant.groups, taken, variant.levels.shape[:2])
        scale = np.ones((cells.shape[1], len(self.columns)))
        for k in taken:
            scale = scale * self.steady[k].scale
        return variant, scale, cells

    def _doubted(
        self, doubt: ChangeDoubt, sure: Array32, through: Array, keep: NDArray[np.bool_] | None = None
    ) -> tuple[Array, Array]:
        """What the doubt makes of each mean, (emitters, columns, draws), and each excess, (emitters, columns)."""
        draws = len(self.posterior.x)
        size_db = np.abs(10.0 * np.log10(np.maximum(through, 1e-12)))
        step = np.clip(STEPS_PER_DB * size_db, 0.0, len(doubt.common) - 1 - 1e-3)
        low = step.astype(np.int64)
        part = (step - low).astype(np.float32)[..., None]
        alike = doubt.common[low] * (1.0 - part) + doubt.common[low + 1] * part
        first = doubt.first[self.place_of_column].T
        turn = (first if keep is None else first[keep])[..., None] + np.arange(draws)
        rows = low[..., None]
        own = doubt.local[rows, turn] * (1.0 - part) + doubt.local[rows + 1, turn] * part
        kept = np.arange(doubt.excess.shape[1]) if keep is None else np.flatnonzero(keep)
        rest = part[..., 0]
        excess = doubt.excess[low, kept[:, None]] * (1.0 - rest) + doubt.excess[low + 1, kept[:, None]] * rest
        return (sure * alike * own).astype(np.float64), excess.astype(np.float64)

    def after_from(self, action_ids: Sequence[str], *, silent: Sequence[str] = ()) -> Array:
        """Draws of the level after a plan with some emitters left out, shape (draws, columns) [W/m²]."""
        each, over, _ = self._parts(self.doubt, action_ids, self._kept(silent))
        return crested(each, over).T

    def chance_over(self, bound_w_m2: float, action_ids: Sequence[str], *, silent: Sequence[str] = ()) -> Array:
        """Probability, in each draw, that the level after a plan is over a bound at some column, shape (draws,).

        The doubt about what the plan does, of which no reading before it says anything, is averaged out, so that few
        draws tell plans apart (conditional expectation: Casella and Robert, Rao-Blackwellisation of sampling schemes,
        Biometrika 83, 1996).

        Parameters
        ----------
        bound_w_m2 : float
            The bound [W/m²].
        silent : sequence of str
            Emitters left out.
        """
        variant, scale, cells = self._scaled(action_ids)
        scales = np.where(self._kept(silent)[:, None], scale, 0.0).astype(np.float32)[None]
        draws, place, bound = len(self.posterior.x), self.place_of_column, np.float32(bound_w_m2)
        over, total = np.zeros((DOUBTS, draws), dtype=np.bool_), np.empty((2, draws), dtype=np.float32)
        for doubt, row in zip(self._doubts, over, strict=True):
            plan_kernels.mark_over(variant.levels, cells.reshape(-1), scales, doubt, place, bound, total, row)
        return np.asarray(np.mean(over, axis=0))

    def _kept(self, silent: Sequence[str]) -> NDArray[np.bool_]:
        return np.array([name not in silent for name in self.posterior.emitter_ids])

    def ways_in(self, action_ids: Sequence[str]) -> list[dict[tuple[str, str], float]]:
        """Share of what remains by (emitter id, plate of entry), for each column."""
        variant, after = self.variant(action_ids), self.after(action_ids)
        taken = [k for k, e in enumerate(self.steady) if e.action.id in action_ids]
        shares = ways_in(variant.groups, taken, variant.levels.shape[:2])
        emitters = self.posterior.emitter_ids
        result = []
        for c, column in enumerate(self.columns):
            total = max(float(after.by_emitter[:, c].sum()), 1e-300)
            found: dict[tuple[str, str], float] = {}
            for k, name in enumerate(emitters):
                for entry, share in shares.get(column.place_index * len(emitters) + k, {}).items():
                    found[name, entry] = share * float(after.by_emitter[k, c]) / total
            result.append(found)
        return result

    def _build(self, moves: tuple[str, ...]) -> Variant:
        emitters: dict[str, Point3] = {}
        stands = {p.id: p.position for p in self.places}
        for effect in self.moving:
            if effect.action.id in moves:
                emitters.update(effect.emitter_positions)
                stands.update(effect.place_positions)
        usual = np.array([p.position for p in self.places], dtype=np.float64)
        points = np.array([stands[p.id] for p in self.places], dtype=np.float64)
        drawn = self.ground.levels(self.kind, usual, points, emitters)
        positions = self.posterior.radiators.positions.copy()
        for name, position in emitters.items():
            positions[self.posterior.emitter_ids.index(name)] = position
        scenes = [e.scene for e in self.steady if e.scene is not None]
        levels = _levels(drawn, self._excess[0])
        if self.tied is not None:
            levels *= self.tied.factors([p.id for p in self.places]).T[:, None].astype(np.float32)
        return Variant(levels, self._all_actions(self.ground.groups(scenes, positions, points)))

    def _all_actions(self, groups: PathGroups) -> PathGroups:
        """Groups with one row per steady action; those that leave the scene alone have ones."""
        rows = np.flatnonzero([e.scene is not None for e in self.steady])

        def spread(table: Array) -> Array:
            whole = np.ones((len(self.steady), table.shape[1]))
            whole[rows] = table
            return whole

        return PathGroups(
            groups.cell, groups.entry, groups.share, spread(groups.factor), groups.edge_cell, groups.edge_entry,
            groups.edge_share, spread(groups.edge_way), groups.solid, groups.hole, spread(groups.solid_factor),
            spread(groups.hole_factor), groups.entry_names,
        )  # fmt: skip

    def _harden_handsets(self) -> None:
        """A handset in a shielded room transmits harder: by what the shield takes from outdoor emitters."""
        survey = self.posterior.survey
        handsets = [k for k, e in enumerate(survey.emitters) if is_handset(e.technology, e.name) and not e.outdoor]
        outdoor = [k for k, e in enumerate(survey.emitters) if e.outdoor]
        if not handsets or not outdoor:
            return
        variant = self.variant()
        for k, effect in enumerate(self.steady):
            if effect.scene is not None:
                kept = let_through(variant.groups, [k], variant.levels.shape[:2])[:, outdoor]
                harder = float(np.clip(1.0 / max(np.median(kept), 1e-9), 1.0, HANDSET_MOST))
                effect.scale[handsets] *= harder


def entries_at(ground: Groundwork, places: Sequence[Place], which: int, kind: Kind) -> dict[tuple[str, str], float]:
    """Share of the level at one of several places as it is now, by (emitter id, plate of entry).

    The same as `Evaluator.ways_in` of no action gives at it; only the paths to this place are traced.

    Parameters
    ----------
    places : sequence of Place
        With positions.
    which : int
        Index of the place among them.
    """
    posterior = ground.posterior
    points = np.array([p.position for p in places], dtype=np.float64)
    means = ground.levels(kind, points, points, {}).by_emitter_w_m2[:, :, which]
    made = np.mean(means / np.maximum(means.sum(axis=1, keepdims=True), 1e-300), axis=0)
    groups = ground.groups([], posterior.radiators.positions, points[which : which + 1])
    shares, total = ways_in(groups, [], (1, len(made))), max(float(made.sum()), 1e-300)
    return {
        (name, entry): share * float(made[k]) / total
        for k, name in enumerate(posterior.emitter_ids)
        for entry, share in shares.get(k, {}).items()
    }


def _evenly(count: int, seed: int, stream: int) -> Array:
    """Values evenly spread over 0 to 1 in random order."""
    return np.asarray((np.random.default_rng([seed, stream]).permutation(count) + 0.5) / count)


def is_handset(technology: str, name: str) -> bool:
    """True for a telephone that sets its power by what it hears."""
    words = f"{technology} {name}".lower()
    return any(w in words for w in HANDSET_WORDS) and "base" not in words


def crested(each: Array, over: Array) -> Array:
    """Level that a scan finds of means and of how far the largest spot of each emitter lies over its mean.

    Parameters
    ----------
    each, over : ndarray, shape (emitters, columns, draws)
        Means, and how far each one's own largest spot lies over them [W/m²]; independent of each other, so that the
        latter add as the roots of variances do.

    Returns
    -------
    ndarray, shape (columns, draws)
        [W/m²].
    """
    return np.asarray(each.sum(axis=0) + np.sqrt(np.square(over).sum(axis=0)))


def _levels(drawn: LevelDraws, excess: Array32) -> Array32:
    """Means of each emitter, (places, emitters, draws), scaled so that `crested` of them is the level drawn."""
    means = drawn.by_emitter_w_m2.transpose(1, 2, 0)
    found = crested(means, means * excess[:, None, None])
    scaled = means * (drawn.density_w_m2.T / np.maximum(found, 1e-300))
    return np.ascontiguousarray(scaled.transpose(1, 0, 2)).astype(np.float32)


def let_through(groups: PathGroups, taken: Sequence[int], shape: tuple[int, ...]) -> Array:
    """Power after some actions over that before, shape (places, emitters)."""
    taken = list(taken)
    paths, edges = _powers(groups, taken)
    size = shape[0] * shape[1]
    cells = np.bincount(groups.cell, paths, size) + np.bincount(groups.edge_cell, edges, size)
    return np.asarray(cells).reshape(shape)


def _powers(groups: PathGroups, taken: list[int]) -> tuple[Array, Array]:
    paths = groups.share * groups.factor[taken].prod(axis=0)
    solid = groups.solid * groups.solid_factor[taken].prod(axis=0)
    hole = groups.hole * groups.hole_factor[taken].prod(axis=0)
    edges = groups.edge_share * groups.edge_way[taken].prod(axis=0) * (solid - hole) ** 2
    return paths, edges


def ways_in(groups: PathGroups, taken: list[int], shape: tuple[int, ...]) -> dict[int, dict[str, float]]:
    """Share of each cell's power after some actions by plate of entry."""
    paths, edges = _powers(groups, taken)
    ways, cells = len(groups.entry_names), shape[0] * shape[1]
    at = np.concatenate([groups.cell * ways + groups.entry, groups.edge_cell * ways + groups.edge_entry])
    powers: Array = np.bincount(at, np.concatenate([paths, edges]), cells * ways).reshape(cells, ways).astype(float)
    table = powers / np.maximum(powers.sum(axis=1, keepdims=True), 1e-300)
    found: dict[int, dict[str, float]] = {}
    for cell, way in np.argwhere(table > 0.0).tolist():
        found.setdefault(cell, {})[groups.entry_names[way]] = float(table[cell, way])
    return found
