"""What if: emitters and places moved, radios off, shields put up; levels after, while the hand still drags."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError, TooEarlyError
from roomfield.field.posterior import Posterior, levels_at
from roomfield.field.scene import Scene
from roomfield.quantities import Kind
from roomfield.references.guidelines import guideline_set
from roomfield.remedy.effects import changed_scene
from roomfield.survey import (
    Action,
    ActionKind,
    Emitter,
    Place,
    Point3,
    RadioState,
    ShieldPart,
    ShieldSheet,
    SurfaceRef,
    Survey,
)
from roomfield.workbench.editing import new_id
from roomfield.workbench.surveys import Records, opened
from roomfield.workbench.turns import in_turn
from roomfield.workbench.understand import placed, posterior_of

Array = NDArray[np.float64]
DRAWS = 200
COVERAGE = 0.9
MOST_BENCHES = 4
FLAT_HZ = (1e8, 1e10)
"""A sheet known by one figure is taken to hold it over this range [Hz]."""


@dataclass(frozen=True)
class Moved:
    """Something that would stand elsewhere [m]."""

    id: str
    position: Point3


@dataclass(frozen=True)
class Screen:
    """A shield that would be put on a wall or slab.

    Parameters
    ----------
    attenuation_db : float
        Of the sheet, as its maker measured it [dB].
    part : ShieldPart
        Masonry, openings or both.
    """

    surface_id: str
    attenuation_db: float = 30.0
    part: ShieldPart = ShieldPart.WHOLE
    coverage: float = 0.98


@dataclass(frozen=True)
class Wish:
    """Everything that would be different.

    Parameters
    ----------
    off : tuple of str
        Emitters that would be off.
    kind : str
        Which level is asked for.
    bound_w_m2 : float
        Level whose probability is asked for [W/m²]; 0 for none.
    """

    off: tuple[str, ...] = ()
    emitters: tuple[Moved, ...] = ()
    places: tuple[Moved, ...] = ()
    screens: tuple[Screen, ...] = ()
    kind: str = "peak"
    bound_w_m2: float = 0.0


@dataclass(frozen=True)
class PlaceAfter:
    """One place before and after.

    Parameters
    ----------
    before_w_m2, after_w_m2 : (float, float, float)
        Low end, median, high end of the 90 % interval [W/m²].
    change_db : (float, float, float)
        The same of after over before [dB]; what both have in common has cancelled.
    probability_before, probability_after : float
        That the level is at or below the bound.
    """

    place_id: str
    name: str
    before_w_m2: tuple[float, float, float]
    after_w_m2: tuple[float, float, float]
    change_db: tuple[float, float, float]
    probability_before: float
    probability_after: float


class Bench:
    """Answers one wish after another about one survey; remembers what does not change between them.

    Parameters
    ----------
    survey : Survey
        The record.
    visit_id : str
        The visit whose readings are used.

    Raises
    ------
    TooEarlyError
        If there is nothing to infer from yet.
    """

    def __init__(self, survey: Survey, visit_id: str) -> None:
        self.survey, self.visit_id = survey, visit_id
        self.posterior: Posterior = posterior_of(survey, visit_id)
        self.places: tuple[Place, ...] = placed(survey)
        if not self.places:
            raise InputError("no place has a position yet.", mend="Put the places on the plan.")
        self._before: dict[Kind, Array] = {}
        self._scenes: dict[tuple[Screen, ...], Scene] = {}

    @in_turn
    def answer(self, wish: Wish) -> tuple[PlaceAfter, ...]:
        """Levels at every place, before and after.

        Raises
        ------
        UnknownNameError
            If an emitter, place or wall is not there.
        """
        kind = Kind(wish.kind)
        before, after = self.before(kind), self._after(wish, kind)
        change = 10.0 * np.log10(np.maximum(after, 1e-18) / np.maximum(before, 1e-18))
        bound = wish.bound_w_m2 or float("inf")
        return tuple(
            PlaceAfter(
                place.id,
                place.name,
                _spread(before[:, k]),
                _spread(after[:, k]),
                _spread(change[:, k]),
                float(np.mean(before[:, k] <= bound)),
                float(np.mean(after[:, k] <= bound)),
            )
            for k, place in enumerate(self.places)
        )

    def before(self, kind: Kind) -> Array:
        """Draws of the level as found, shape (draws, places) [W/m²]."""
        if kind not in self._before:
            self._before[kind] = self._levels(kind, {}, {}, None, None)
        return self._before[kind]

    def _after(self, wish: Wish, kind: Kind) -> Array:
        moved = {self.survey.emitter(one.id).id: one.position for one in wish.emitters}
        stands = {self.survey.place(one.id).id: one.position for one in wish.places}
        off = tuple(self.survey.emitter(name).id for name in wish.off)
        state = RadioState("wished", "wished", off) if off else None
        if not moved and not wish.screens and state is None:
            return self._only_places(kind, stands)
        return self._levels(kind, moved, stands, state, self._scene(wish.screens))

    def _only_places(self, kind: Kind, stands: dict[str, Point3]) -> Array:
        """Where only places move, the others stay as they were."""
        after = self.before(kind).copy()
        columns = [k for k, place in enumerate(self.places) if place.id in stands]
        if columns:
            points = [stands[self.places[k].id] for k in columns]
            after[:, columns] = levels_at(self.posterior, points, kind=kind, draws=DRAWS).density_w_m2
        return after

    def _levels(
        self,
        kind: Kind,
        moved: dict[str, Point3],
        stands: dict[str, Point3],
        state: RadioState | None,
        scene: Scene | None,
    ) -> Array:
        points = [stands.get(place.id, place.position or (0.0, 0.0, 0.0)) for place in self.places]
        return levels_at(
            self.posterior, points, kind=kind, state=state, scene=scene, emitter_positions=moved, draws=DRAWS
        ).density_w_m2

    def _scene(self, screens: tuple[Screen, ...]) -> Scene | None:
        if not screens:
            return None
        if screens not in self._scenes:
            if len(self._scenes) > 30:
                self._scenes.clear()
            scene = self.posterior.scene
            for screen in screens:
                scene = changed_scene(scene, screen_action(screen))
            self._scenes[screens] = scene
        return self._scenes[screens]


class BenchShelf:
    """The benches in use, made once for each state of a survey."""

    def __init__(self) -> None:
        self._benches: dict[tuple[str, int, int, str], Bench] = {}

    @in_turn
    def bench(self, records: Records, survey_id: str, visit_id: str = "") -> Bench:
        """The bench for a survey as it is now.

        Parameters
        ----------
        records : Records
            The open record.
        survey_id : str
            The survey.
        visit_id : str
            The visit; the first one if empty.

        Raises
        ------
        TooEarlyError
            If there is nothing to infer from yet.
        """
        stored = opened(records, survey_id)
        if not stored.survey.visits:
            raise TooEarlyError("the survey has no visit yet.", mend="Begin a visit first.")
        visit = stored.survey.visit(visit_id).id if visit_id else stored.survey.visits[0].id
        key = (survey_id, stored.revision, stored.additions, visit)
        if key not in self._benches:
            if len(self._benches) >= MOST_BENCHES:
                self._benches.pop(next(iter(self._benches)))
            self._benches[key] = Bench(stored.survey, visit)
        return self._benches[key]


def screen_action(screen: Screen) -> Action:
    """A shield as an action of the record.

    Raises
    ------
    InputError
        If its attenuation or coverage cannot be.
    """
    if not 0.0 < screen.attenuation_db <= 120.0:
        raise InputError(f"a sheet of {screen.attenuation_db:g} dB is not possible.", mend="Give 1 to 120 dB.")
    if not 0.0 < screen.coverage <= 1.0:
        raise InputError(f"a coverage of {screen.coverage:g} is not possible.", mend="Give over 0, up to 1.")
    sheet = ShieldSheet(f"Sheet of {screen.attenuation_db:g} dB", tuple((f, screen.attenuation_db) for f in FLAT_HZ))
    return Action(
        new_id("action"),
        f"Shield {screen.surface_id}",
        ActionKind.SHIELD_SURFACE,
        surfaces=(SurfaceRef(screen.surface_id, screen.part),),
        sheet=sheet,
        coverage=screen.coverage,
    )


def actions_of(survey: Survey, wish: Wish) -> tuple[Action, ...]:
    """The wish as actions of the record, one for each thing that would be done.

    Parameters
    ----------
    survey : Survey
        Gives the names.
    wish : Wish
        What would be different.
    """
    emitters = {one.id: one for one in survey.emitters}
    groups: dict[str, list[Emitter]] = {}
    for name in wish.off:
        groups.setdefault(survey.emitter(name).group, []).append(emitters[name])
    off = tuple(
        Action(
            new_id("action"),
            f"{', '.join(one.name for one in some)}: off",
            ActionKind.SWITCH_OFF,
            tuple(one.id for one in some),
        )
        for some in groups.values()
    )
    relocated = tuple(
        Action(
            new_id("action"),
            f"{survey.emitter(one.id).name}: elsewhere",
            ActionKind.RELOCATE_EMITTER,
            (one.id,),
            position=one.position,
        )
        for one in wish.emitters
    )
    moved = tuple(
        Action(
            new_id("action"),
            f"{survey.place(one.id).name}: elsewhere",
            ActionKind.MOVE_PLACE,
            place_id=one.id,
            position=one.position,
        )
        for one in wish.places
    )
    return (*off, *relocated, *moved, *(screen_action(screen) for screen in wish.screens))


def with_actions(survey: Survey, wish: Wish) -> Survey:
    """The survey with the wish among its actions."""
    return replace(survey, actions=(*survey.actions, *actions_of(survey, wish)))


def usual_bound_w_m2(survey: Survey) -> float:
    """The lowest bound of the client's guideline [W/m²]; 0 if none was chosen."""
    if not survey.assignment.guideline:
        return 0.0
    bounds = [row.upper_w_m2 for row in guideline_set(survey.assignment.guideline).levels if row.upper_w_m2]
    return min(bounds, default=0.0)


def _spread(draws: Array) -> tuple[float, float, float]:
    tail = (1.0 - COVERAGE) / 2.0
    low, middle, high = np.quantile(draws, [tail, 0.5, 1.0 - tail])
    return float(low), float(middle), float(high)
