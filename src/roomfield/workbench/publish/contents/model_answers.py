"""What the model of the dwelling adds to the report: sources, contributions, what stays open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from math import hypot, log10

import numpy as np

from roomfield.errors import UnknownNameError
from roomfield.field.diagnostics import Finding, FindingKind, diagnostics
from roomfield.field.fit import fit_of
from roomfield.field.heard import unexplained
from roomfield.field.locate import Bearings, Whereabouts, locate
from roomfield.field.map import LevelMap, level_map
from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind
from roomfield.quantities.censoring import Censoring
from roomfield.quantities.convert import decibels_from_ratio
from roomfield.references.technologies import technology
from roomfield.remedy.naming import outer_wall_towards
from roomfield.show.chapters import SourceEntry
from roomfield.show.drawings import LevelGrid, PlanEmitter, PlanStorey
from roomfield.show.findings import Contribution, NextStep, PlaceFinding, PlaceLevel, StepGroup
from roomfield.show.phrase import Text, Told, phrase
from roomfield.show.shown_place import Frame, answering_level
from roomfield.survey import Standing, Storey, Survey
from roomfield.workbench.model.joint_model import Range
from roomfield.workbench.model.model_fit import meter_question
from roomfield.workbench.model.source_contributions import shares_at_places
from roomfield.workbench.plan.outcomes import way
from roomfield.workbench.publish.contents.plan_figures import emitter_letters, plan_storeys, room_at

LEAST_SHARE = 0.05
"""Contributions under this share of the sum are left out of the table."""
MAP_STEP_M, MOST_CELLS = 0.4, 1200
MICRO_DB = float(decibels_from_ratio(1e6))
"""From dB re 1 W/m² to dB re 1 µW/m² [dB]."""
WIDE_FACTOR = 30.0
"""Interval of a power, high over low, from which the data are said not to fix it."""
HALF_CIRCLE_DEG = 180.0
"""Directions that fill more than this are none."""


def model_contributions(
    posterior: Posterior, places: tuple[PlaceFinding, ...], frame: Frame
) -> tuple[Contribution, ...]:
    """What each switch makes of the level at a place: its share by the model, times the level as it was measured.

    Parameters
    ----------
    places : tuple of PlaceFinding
        With their measured levels.
    frame : Frame
        Radio state and coverage.

    Notes
    -----
    Share and level are taken as independent, so that half-widths in dB add in quadrature. Where the level is only a
    bound, the share stands alone and no amount is given.
    """
    causes = {one.place_id: one.shares for one in shares_at_places(posterior, Kind.PEAK, frame.coverage)}
    found = []
    for place in places:
        level = answering_level(place, frame.state_id)
        here = sorted(causes.get(place.id, ()), key=lambda s: -s.share.share.median)
        named = [s for s in here if s.share.share.median >= LEAST_SHARE]
        found += [_part_of(place.id, s.name, s.share.share, level) for s in named if level is not None]
    return tuple(found)


def _part_of(place_id: str, source: str, share: Range, item: PlaceLevel) -> Contribution:
    level, nan = item.level, float("nan")
    ends = (nan, nan, nan)
    if level.censoring is Censoring.NONE:
        middle = share.median * level.median_w_m2
        down = hypot(_db(share.median, share.low), _db(level.median_w_m2, level.low_w_m2))
        up = hypot(_db(share.high, share.median), _db(level.high_w_m2, level.median_w_m2))
        ends = (middle, middle * 10.0 ** (-down / 10.0), min(middle * 10.0 ** (up / 10.0), level.high_w_m2))
    return Contribution(place_id, source, item.kind, *ends, share.median, share.low, share.high)


def _db(above: float, under: float) -> float:
    return 10.0 * log10(above / under) if under > 0.0 else float("inf")


def source_entries(posterior: Posterior, survey: Survey) -> tuple[SourceEntry, ...]:
    """Every emitter with its radiated power over time and where it is; letters as on the plan of the whole record."""
    letters = emitter_letters(survey, posterior.survey.emitters)
    mean_db = posterior.eirp_db + np.minimum(posterior.duty_db, 0.0)
    entries = []
    for row, emitter in enumerate(posterior.survey.emitters):
        power = Range.of(10.0 ** (mean_db[:, row] / 10.0))
        entries.append(
            SourceEntry(
                letters[emitter.id],
                emitter.name,
                emitter.technology,
                whereabouts_of(posterior, row),
                power.median,
                power.low,
                power.high,
                _statement(power),
            )
        )
    return tuple(entries)


LEAST_AGREEING = 2
"""Of the middle and both ends of the arc of directions, so many must point through the same wall."""


def whereabouts_of(posterior: Posterior, row: int) -> Text:
    """Where an emitter is, with how well that is known."""
    emitter = posterior.survey.emitters[row]
    found = locate(posterior, emitter.id)
    if found.whereabouts is Whereabouts.DIRECTION:
        return _beyond(posterior, found.arcs) or sought_direction(found.arcs)
    if found.whereabouts is Whereabouts.REGION and found.centre is not None:
        room = room_at(posterior.survey, found.centre)[1] or phrase("source.outside")
        return phrase("source.inferred", room=room, spread=_spread_m(posterior, row))
    if emitter.bearing_deg is not None:
        return phrase("source.direction", bearing=emitter.bearing_deg)
    return phrase("source.far" if emitter.outdoor else "source.entered")


def _beyond(posterior: Posterior, arcs: tuple[Bearings, ...]) -> Text | None:
    """The wall that it comes through, where the directions agree on one; never a spot on the other side of it."""
    survey = posterior.survey
    heights = [p.position[2] for p in survey.places if p.position is not None]
    if len(arcs) > 1 or not heights or not survey.dwelling.storeys:
        return None
    middle = float(np.median(heights))
    storey = min(survey.dwelling.storeys, key=lambda s: abs(0.5 * (s.floor_m + s.ceiling_m) - middle))
    ends = (arcs[0].low_deg, arcs[0].middle_deg, arcs[0].high_deg)
    met = [outer_wall_towards(survey.dwelling, storey.id, bearing) for bearing in ends]
    wall = met[1]
    if wall is None or sum(one is not None and one.id == wall.id for one in met) < LEAST_AGREEING:
        return None
    return phrase("source.beyond_wall", wall=way(wall), direction=sought_direction(arcs))


def sought_direction(arcs: tuple[Bearings, ...]) -> Text:
    """Where an emitter outside is sought, both ways if the readings do not tell front from back.

    Parameters
    ----------
    arcs : tuple of Bearings
        Most probable first.
    """
    if sum(arc.span_deg for arc in arcs) > HALF_CIRCLE_DEG:
        return phrase("source.sought_anywhere")
    first = arcs[0]
    one = {"bearing": first.middle_deg, "low": first.low_deg, "high": first.high_deg}
    if len(arcs) == 1:
        return phrase("source.sought_direction", **one)
    other = arcs[1]
    return phrase(
        "source.sought_two_directions", **one, chance=first.probability, other=other.middle_deg,
        other_low=other.low_deg, other_high=other.high_deg, other_chance=other.probability,
    )  # fmt: skip


def _spread_m(posterior: Posterior, row: int) -> float:
    """Root mean square distance of the draws of a position from their mean, in plan [m]."""
    spread = posterior.positions_m[:, row, :2].std(axis=0)
    return float(np.hypot(spread[0], spread[1]))


def _statement(power: Range) -> Text:
    wide = power.low <= 0.0 or power.high / power.low > WIDE_FACTOR
    return phrase("source.wide") if wide else phrase("source.fixed")


def open_questions(posterior: Posterior) -> tuple[Text, ...]:
    """What the readings could not settle."""
    found: list[Text] = []
    for row, emitter in enumerate(posterior.survey.emitters):
        if locate(posterior, emitter.id).whereabouts is Whereabouts.REGION:
            found.append(phrase("open.position", source=emitter.name, spread=_spread_m(posterior, row)))
        elif emitter.standing is Standing.SUSPECTED:
            found.append(phrase("open.suspected", source=emitter.name))
    worded = (_worded(posterior, finding) for finding in diagnostics(posterior))
    found += [text for text in worded if text is not None]
    asked = meter_question(posterior)
    found += [asked] if asked else _gains(posterior)
    told = shares_at_places(posterior, Kind.PEAK)
    found += [phrase("open.contradicted", place=one.place) for one in told if one.contradicted]
    heard = unexplained(posterior.survey, posterior.visit_id)
    found += [phrase("open.unexplained", technology=Told(technology(name).title)) for _, name in heard]
    return tuple(found)


def _worded(posterior: Posterior, finding: Finding) -> Text | None:
    """What a client must know of a finding of the model; None if another chapter says it."""
    survey = posterior.survey
    emitters = {e.id: e for e in survey.emitters}
    if finding.kind is FindingKind.TWINS:
        first, second = (emitters[name] for name in finding.subjects)
        # Bands of one device hang on one switch; that they trade with each other decides nothing.
        alike = first.group == second.group
        return None if alike else phrase("open.not_told_apart", first=first.name, second=second.name)
    if finding.kind is FindingKind.LITTLE_LEARNED:
        names = ", ".join(emitters[name].name for name in finding.subjects if name in emitters)
        return phrase("open.little_learned", source=names)
    if finding.kind is FindingKind.OUTLIER:
        return phrase("open.outlier", reading=finding.subjects[0], place=_place_read(survey, finding.subjects[0]))
    if finding.kind is FindingKind.STRANGE_SITE:
        return phrase("open.strange_site", place=_place_read(survey, finding.subjects[0]))
    if finding.kind is FindingKind.OUTSIDE_BAND:
        return phrase("open.outside_band", source=_name_of(posterior, finding.subjects[0]))
    if finding.kind is FindingKind.UNPLACED:
        place_id = finding.subjects[0]
        return phrase("open.unplaced", place=survey.place(place_id).name if place_id else phrase("open.a_point"))
    return phrase("open.unsettled") if finding.kind is FindingKind.UNSETTLED else None


def _name_of(posterior: Posterior, emitter_id: str) -> str:
    return next(e.name for e in posterior.outside_band if e.id == emitter_id)


def _gains(posterior: Posterior) -> Iterator[Text]:
    """Gain errors that lie beyond what the meter's maker allows."""
    for one in fit_of(posterior).gains:
        if one.beyond:
            yield phrase(
                "open.gain", gain=f"{one.gain_db.median:+.1f}", frequency=f"{one.frequency_hz / 1e9:.2f}",
                tolerance=f"{one.tolerance_db:.1f}",
            )  # fmt: skip


def _place_read(survey: Survey, reading_id: str) -> Text:
    """Name of the place where a reading was taken."""
    place_id = next((r.place_id for r in survey.readings if r.id == reading_id), "")
    return survey.place(place_id).name if place_id else phrase("open.a_point")


def search_steps(posterior: Posterior) -> tuple[NextStep, ...]:
    """Where to look for each transmitter of unknown position that is the largest part of a level somewhere."""
    survey = posterior.survey
    leading = [(p.place, p.shares[0].share) for p in shares_at_places(posterior, Kind.PEAK) if p.shares]
    steps = []
    for row, emitter in enumerate(survey.emitters):
        own = [(place, s.share.median) for place, s in leading if emitter.id in s.emitter_ids]
        worst = max(own, key=lambda one: one[1], default=None)
        found = locate(posterior, emitter.id)
        room = room_at(survey, found.centre)[1] if found.centre is not None else ""
        if worst is None or found.whereabouts is not Whereabouts.REGION or not room:
            continue
        place, share = worst
        title = phrase("step.look_for.title", source=emitter.name, room=room)
        reason = phrase("step.look_for.reason", place=place, share=share, spread=_spread_m(posterior, row))
        steps.append(NextStep(StepGroup.INNER, title, reason))
    return tuple(steps)


def storey_grid(survey: Survey, storey_id: str, found: LevelMap, visit_id: str = "") -> LevelGrid:
    """A map of levels as it is drawn [dB re 1 µW/m²], on the plan with every place.

    Raises
    ------
    UnknownNameError
        If there is no such storey.
    """
    drawn = plan_storeys(survey, survey.places, visit_id)
    storeys = dict(zip((s.id for s in survey.dwelling.storeys), drawn, strict=True))
    if storey_id not in storeys:
        raise UnknownNameError("storey", storey_id, storeys)
    return _grid(storeys[storey_id], found)


def _grid(storey: PlanStorey, found: LevelMap) -> LevelGrid:
    return LevelGrid(
        storey,
        tuple(map(float, found.x_m)),
        tuple(map(float, found.y_m)),
        tuple(tuple(map(float, row)) for row in found.mean_db + MICRO_DB),
        tuple(tuple(map(float, row)) for row in found.std_db),
        title=storey.name,
    )


def map_grids(posterior: Posterior, drawn: tuple[PlanStorey, ...]) -> tuple[LevelGrid, ...]:
    """Maps of the peak level of every storey that has an outline, or of the only one; everything on.

    Parameters
    ----------
    drawn : tuple of PlanStorey
        The plans as the report draws them, in the order of the storeys.
    """
    storeys = posterior.survey.dwelling.storeys
    return tuple(
        _grid(plan, level_map(posterior, storey.id, step_m=_step_m(storey), kind=Kind.PEAK, with_next=False))
        for storey, plan in zip(storeys, drawn, strict=True)
        if len(storey.outline) >= 3 or len(storeys) == 1
    )


def _step_m(storey: Storey) -> float:
    """Step of a printed map: that of a home, or so many cells as can be told apart on a page [m]."""
    if len(storey.outline) < 3:
        return MAP_STEP_M
    x, y = zip(*storey.outline, strict=True)
    return max(MAP_STEP_M, float(((max(x) - min(x)) * (max(y) - min(y)) / MOST_CELLS) ** 0.5))


def with_sought(posterior: Posterior, survey: Survey, storeys: tuple[PlanStorey, ...]) -> tuple[PlanStorey, ...]:
    """Plans with the regions in which emitters of unknown position lie."""
    letters = emitter_letters(survey, posterior.survey.emitters)
    drawn = list(storeys)
    for emitter in posterior.survey.emitters:
        found = locate(posterior, emitter.id)
        if found.whereabouts is not Whereabouts.REGION or found.centre is None:
            continue
        for index, storey in enumerate(posterior.survey.dwelling.storeys):
            if storey.floor_m - 0.3 <= found.centre[2] < storey.ceiling_m:
                region = max(found.polygons, key=len, default=())
                at = (found.centre[0], found.centre[1])
                mark = PlanEmitter(letters[emitter.id], emitter.name, at, known=False, region=region)
                drawn[index] = replace(drawn[index], emitters=(*drawn[index].emitters, mark))
    return tuple(drawn)
