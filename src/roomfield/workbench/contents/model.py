"""What the model of the dwelling adds to the report: sources, contributions, what stays open."""

from __future__ import annotations

import numpy as np

from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind
from roomfield.report.chapters import SourceEntry
from roomfield.report.findings import Contribution
from roomfield.report.phrase import Text, phrase
from roomfield.survey import Emitter, ReadingKind, Standing, Survey
from roomfield.workbench.contents.plan import emitter_letters
from roomfield.workbench.understand import Range, emitter_shares

LEAST_SHARE = 0.05
"""Contributions under this share of the sum are left out of the table."""
WIDE_FACTOR = 30.0
"""Interval of a power, high over low, from which the data are said not to fix it."""


def model_contributions(posterior: Posterior) -> tuple[Contribution, ...]:
    """Peak contributions of emitters at places, the largest first at each place."""
    names = {e.id: e.name for e in posterior.survey.emitters}
    shares = [s for s in emitter_shares(posterior, Kind.PEAK) if s.share.median >= LEAST_SHARE]
    order = {p.id: n for n, p in enumerate(posterior.survey.places)}
    shares.sort(key=lambda s: (order[s.place_id], -s.share.median))
    return tuple(
        Contribution(
            s.place_id,
            names[s.emitter_id],
            ReadingKind.PEAK,
            s.level_w_m2.median,
            s.level_w_m2.low,
            s.level_w_m2.high,
            s.share.median,
            s.share.low,
            s.share.high,
        )
        for s in shares
    )


def source_entries(posterior: Posterior) -> tuple[SourceEntry, ...]:
    """Every emitter with its radiated power over time and where it is."""
    letters = emitter_letters(posterior.survey)
    mean_db = posterior.eirp_db + np.minimum(posterior.duty_db, 0.0)
    entries = []
    for row, emitter in enumerate(posterior.survey.emitters):
        power = Range.of(10.0 ** (mean_db[:, row] / 10.0))
        entries.append(
            SourceEntry(
                letters[emitter.id],
                emitter.name,
                emitter.technology,
                _position(posterior, row, emitter),
                power.median,
                power.low,
                power.high,
                _statement(power),
            )
        )
    return tuple(entries)


def _position(posterior: Posterior, row: int, emitter: Emitter) -> Text:
    if emitter.position is not None:
        key = "source.far" if emitter.outdoor else "source.entered"
        return phrase(key)
    if emitter.bearing_deg is not None:
        return phrase("source.direction", bearing=emitter.bearing_deg)
    drawn = posterior.positions_m[:, row]
    middle, spread = drawn.mean(axis=0), drawn.std(axis=0)
    room = _room_at(posterior.survey, float(middle[0]), float(middle[1]), float(middle[2]))
    return phrase("source.inferred", room=room, spread=float(np.hypot(spread[0], spread[1])))


def _room_at(survey: Survey, x_m: float, y_m: float, z_m: float) -> Text:
    for storey in survey.dwelling.storeys:
        if not storey.floor_m - 0.3 <= z_m <= storey.ceiling_m + 0.3:
            continue
        for room in survey.dwelling.rooms:
            xs, ys = [p[0] for p in room.outline], [p[1] for p in room.outline]
            inside = min(xs) <= x_m <= max(xs) and min(ys) <= y_m <= max(ys)
            if room.storey_id == storey.id and inside:
                return room.name
    return phrase("source.outside")


def _statement(power: Range) -> Text:
    wide = power.low <= 0.0 or power.high / power.low > WIDE_FACTOR
    return phrase("source.wide") if wide else phrase("source.fixed")


def open_questions(posterior: Posterior) -> tuple[Text, ...]:
    """What the readings could not settle."""
    found: list[Text] = []
    for row, emitter in enumerate(posterior.survey.emitters):
        if emitter.position is None and emitter.bearing_deg is None:
            spread = posterior.positions_m[:, row].std(axis=0)
            found.append(phrase("open.position", source=emitter.name, spread=float(np.hypot(spread[0], spread[1]))))
        elif emitter.standing is Standing.SUSPECTED:
            found.append(phrase("open.suspected", source=emitter.name))
    found += [phrase("open.not_told_apart", first=first, second=second) for first, second in _confounded(posterior)]
    return tuple(found)


def _confounded(posterior: Posterior) -> list[tuple[str, str]]:
    """Pairs whose powers the readings trade against each other."""
    names = [e.name for e in posterior.survey.emitters]
    if len(names) < 2:
        return []
    correlation = np.atleast_2d(np.corrcoef(posterior.eirp_db, rowvar=False))
    return [
        (names[a], names[b]) for a in range(len(names)) for b in range(a + 1, len(names)) if correlation[a, b] < -0.5
    ]
