"""What if: emitters and places moved, radios off, shields put up; levels after, while the hand still drags."""

from __future__ import annotations

from dataclasses import dataclass, replace

from roomfield.errors import InputError
from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind
from roomfield.remedy.baseline_paths import Groundwork
from roomfield.remedy.evaluator import Evaluator
from roomfield.remedy.naming import ways_of
from roomfield.remedy.prediction import PlaceOutcome, Prediction, predict_with
from roomfield.show.words import load_words
from roomfield.survey import Action, ActionKind, Emitter, Point3, ShieldPart, SurfaceRef, Survey
from roomfield.workbench.assess.place_use import aim_in
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import placed, posterior_of
from roomfield.workbench.model.measured_levels import tie_of
from roomfield.workbench.plan.action_list import sheet_of
from roomfield.workbench.plan.outcomes import limiting, way, worsening
from roomfield.workbench.record.editing import new_id
from roomfield.workbench.record.survey_list import Records, opened
from roomfield.workbench.record.visit_choice import visit_asked_or_first

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
class WhatIfRequest:
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
        Low end, median, high end of the interval [W/m²].
    change_db : (float, float, float)
        The same of after over before [dB]; what both have in common has cancelled.
    probability_before, probability_after : float
        That the level is at or below the bound.
    limiting : str
        What limits the result, in words.
    """

    place_id: str
    name: str
    before_w_m2: tuple[float, float, float]
    after_w_m2: tuple[float, float, float]
    change_db: tuple[float, float, float]
    probability_before: float
    probability_after: float
    limiting: str = ""


@dataclass(frozen=True)
class WhatIfAnswer:
    """What a wish would bring.

    Parameters
    ----------
    places : tuple of PlaceAfter
        Every place with a position.
    worse : tuple of str
        What gets worse, in words.
    """

    places: tuple[PlaceAfter, ...]
    worse: tuple[str, ...]


class WhatIfModel:
    """Answers one wish after another about one survey; remembers what does not change between them.

    The answer is the prediction that the report and the choice of a plan rest on, of the wish as actions.

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
        if not placed(self.posterior.survey):
            raise InputError("no place has a position yet.", mend="Put the places on the plan.")
        self._ground = Groundwork(self.posterior)

    @in_turn
    def predict(self, wish: WhatIfRequest) -> Prediction:
        """The prediction of the wish as actions.

        Raises
        ------
        UnknownNameError
            If an emitter, place or wall is not there.
        """
        home = self.posterior.survey
        actions = actions_of(replace(home, emitters=(*home.emitters, *self.posterior.outside_band)), wish)
        kind = Kind(wish.kind)
        tied = tie_of(self.posterior, kind)
        evaluator = Evaluator(self.posterior, actions, kind=kind, ground=self._ground, tied=tied)
        return predict_with(evaluator, [action.id for action in actions], wish.bound_w_m2 or None)

    def answer(self, wish: WhatIfRequest, language: str = "en") -> WhatIfAnswer:
        """Levels at every place, before and after, and what gets worse.

        Raises
        ------
        UnknownNameError
            If an emitter, place or wall is not there.
        """
        found, words = self.predict(wish), load_words(language)
        names = {place.id: place.name for place in self.posterior.survey.places}
        return WhatIfAnswer(
            tuple(_place_after(names[o.place_id], o, words.text(limiting(o))) for o in found.outcomes),
            tuple(words.text(worsening(one)) for one in found.worse),
        )


def _place_after(name: str, outcome: PlaceOutcome, limit: str) -> PlaceAfter:
    before, after, change = outcome.before_w_m2, outcome.after_w_m2, outcome.reduction_db
    unasked = outcome.probability_met != outcome.probability_met
    return PlaceAfter(
        outcome.place_id,
        name,
        (before.low, before.median, before.high),
        (after.low, after.median, after.high),
        (-change.high, -change.median, -change.low),
        1.0 if unasked else outcome.probability_before,
        1.0 if unasked else outcome.probability_met,
        limit,
    )


class BenchShelf:
    """The benches in use, made once for each state of a survey."""

    def __init__(self) -> None:
        self._benches: dict[tuple[str, int, int, str], WhatIfModel] = {}

    @in_turn
    def bench(self, records: Records, survey_id: str, visit_id: str = "") -> WhatIfModel:
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
        visit = visit_asked_or_first(stored.survey, visit_id).id
        key = (survey_id, stored.revision, stored.additions, visit)
        if key not in self._benches:
            if len(self._benches) >= MOST_BENCHES:
                self._benches.pop(next(iter(self._benches)))
            self._benches[key] = WhatIfModel(stored.survey, visit)
        return self._benches[key]


def shield_name(survey: Survey, surface_id: str) -> str:
    """What a shield on a wall or slab is called, by the rooms beside it, in the language of the report."""
    words, found = load_words(survey.assignment.language), ways_of(survey.dwelling).get(surface_id)
    named = words.text(way(found)) if found is not None else surface_id
    return words.say("action.shield", surface=named)


def screen_action(screen: Screen, survey: Survey) -> Action:
    """A shield as an action of the record.

    Raises
    ------
    InputError
        If its attenuation or coverage cannot be.
    """
    if not 0.0 < screen.coverage <= 1.0:
        raise InputError(f"a coverage of {screen.coverage:g} is not possible.", mend="Give over 0, up to 1.")
    sheet = sheet_of(screen.attenuation_db)
    return Action(
        new_id("action"),
        shield_name(survey, screen.surface_id),
        ActionKind.SHIELD_SURFACE,
        surfaces=(SurfaceRef(screen.surface_id, screen.part),),
        sheet=sheet,
        coverage=screen.coverage,
    )


def actions_of(survey: Survey, wish: WhatIfRequest) -> tuple[Action, ...]:
    """The wish as actions of the record, one for each thing that would be done.

    Parameters
    ----------
    survey : Survey
        Gives the names.
    wish : WhatIfRequest
        What would be different.
    """
    words = load_words(survey.assignment.language)
    emitters = {one.id: one for one in survey.emitters}
    groups: dict[str, list[Emitter]] = {}
    for name in wish.off:
        groups.setdefault(survey.emitter(name).group, []).append(emitters[name])
    off = tuple(
        Action(
            new_id("action"),
            words.say("action.off", name=", ".join(one.name for one in some)),
            ActionKind.SWITCH_OFF,
            tuple(one.id for one in some),
        )
        for some in groups.values()
    )
    relocated = tuple(
        Action(
            new_id("action"),
            words.say("action.elsewhere", name=survey.emitter(one.id).name),
            ActionKind.RELOCATE_EMITTER,
            (one.id,),
            position=one.position,
        )
        for one in wish.emitters
    )
    moved = tuple(
        Action(
            new_id("action"),
            words.say("action.elsewhere", name=survey.place(one.id).name),
            ActionKind.MOVE_PLACE,
            place_id=one.id,
            position=one.position,
        )
        for one in wish.places
    )
    return (*off, *relocated, *moved, *(screen_action(screen, survey) for screen in wish.screens))


def with_actions(survey: Survey, wish: WhatIfRequest) -> Survey:
    """The survey with the wish among its actions."""
    return replace(survey, actions=(*survey.actions, *actions_of(survey, wish)))


def usual_bound_w_m2(survey: Survey) -> float:
    """The client's aim [W/m²], by default the upper edge of the guideline's second category; 0 if there is none."""
    aim = aim_in(survey.assignment)
    return aim.value_w_m2 if aim else 0.0
