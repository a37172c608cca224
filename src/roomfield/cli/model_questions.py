"""sources, shares, map, locate, next: questions put to the model of the dwelling."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated, Any

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, echo, grouped, table
from roomfield.cli.terminal_language import opened_job, spoken
from roomfield.cli.terminal_numbers import digits, microwatts, probability, span, tell
from roomfield.show.trade_units import MICROWATT_M2, PERCENT

if TYPE_CHECKING:
    from roomfield.show.findings import Contribution
    from roomfield.survey import Survey
    from roomfield.workbench.model.joint_model import Range
    from roomfield.workbench.model.source_contributions import PlaceCauses, Share
    from roomfield.workbench.plan.next_measurement import Advice

Kind = Annotated[str, typer.Option(help="peak, highest_held or average.")]


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(sources)
    app.command()(shares)
    app.command(name="map")(level_map)
    app.command()(locate)
    app.command(name="next")(next_points)


def sources(
    record: Record = DEFAULT_RECORD, survey: SurveyId = "", visit: VisitId = "", as_json: AsJson = False
) -> None:
    """Say how strong each source is, given all readings at once."""
    from roomfield.workbench.model.joint_model import emitter_powers, posterior_of
    from roomfield.workbench.model.model_fit import doubts_at

    opened = opened_job(record, survey).survey
    posterior = posterior_of(opened, visit or None)
    found = emitter_powers(posterior)
    plain = [{"emitter_id": p.emitter_id, "eirp_w": vars(p.eirp_w), "duty": vars(p.duty)} for p in found]
    known = {e.id: e for e in posterior.survey.emitters}
    rows = [(known[p.emitter_id].name, _watts(p.eirp_w), _percent(p.duty)) for p in found]
    far = [e.name for e in known.values() if e.outdoor and e.position is None]
    doubts = doubts_at(opened, visit or None)
    answer(as_json, plain, lambda: _show_powers(rows, far, doubts))


def _show_powers(rows: list[tuple[str, str, str]], far: list[str], doubts: tuple[str, ...]) -> None:
    from roomfield.workbench.model.joint_model import COVERAGE, FAR_M

    table(f"Radiated power while on air, {COVERAGE:.0%} interval", ("source", "EIRP", "on air"), rows)
    if far:
        echo(f"As if {FAR_M:g} m away, or next door if the levels say so, for how far is not known: {', '.join(far)}.")
    for doubt in doubts:
        echo(doubt)


def _watts(found: Range) -> str:
    return tell(f"{digits(found.median, 3)} W ({digits(found.low, 2)} to {digits(found.high, 2)})")


def _percent(found: Range) -> str:
    median, low, high = (digits(PERCENT.shown(share), 2) for share in (found.median, found.low, found.high))
    return tell(f"{median} % ({low} to {high})")


def shares(
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    place: Annotated[str, typer.Option(help="Name or id of a place; all if left out.")] = "",
    kind: Kind = "peak",
    as_json: AsJson = False,
) -> None:
    """Say which source makes the level at each place, given all readings at once."""
    from roomfield.workbench.model.joint_model import kind_named
    from roomfield.workbench.model.model_fit import doubts_at
    from roomfield.workbench.model.source_contributions import causes
    from roomfield.workbench.publish.answers import answer as content_of
    from roomfield.workbench.record.things import id_named

    home = opened_job(record, survey).survey
    found = causes(home, visit or None, kind_named(kind).value, id_named(home, "place", place))
    parts = {}
    if kind_named(kind).instantaneous:
        shown = content_of(home, visit, modelled=True).shown
        parts = {(p.place.id, c.source): c for p in shown for c in p.contributions if c.share is not None}
    plain = [
        {
            "place_id": one.place_id,
            "kind": one.kind.value,
            "contradicted": one.contradicted,
            "switches": [asdict(share) | _makes(parts.get((one.place_id, share.name))) for share in one.shares],
        }
        for one in found
    ]
    doubts = doubts_at(home, visit or None)
    answer(as_json, plain, lambda: _show_shares(found, parts, doubts))


def _makes(part: Contribution | None) -> dict[str, Any]:
    """What a switch makes of the measured level, as the report says it; nothing for a small part."""
    if part is None:
        return {}
    ends = {"low": part.low_w_m2, "median": part.median_w_m2, "high": part.high_w_m2}
    return {"makes_w_m2": ends, "share_shown": {"low": part.share_low, "median": part.share, "high": part.share_high}}


def _show_shares(
    found: tuple[PlaceCauses, ...], parts: dict[tuple[str, str], Contribution], doubts: tuple[str, ...]
) -> None:
    rows = []
    for one in found:
        place = one.place
        for switch in one.shares:
            rows.append(_share_row(place, switch.name, switch.share, parts.get((one.place_id, switch.name))))
            rows += [_share_row(place, f"  {band.name}", band.share) for band in switch.bands]
    title = "Share of each source, and what it makes of the measured level, µW/m²; bands as the model has them"
    grouped(title, ("place", "source", "share", "makes", "P(largest)"), rows, right=(2, 4))
    for doubt in doubts:
        echo(doubt)
    for one in found:
        if one.contradicted:
            echo(f"{one.place}: readings with a switch off contradict the model; no source is sure.")


def _share_row(place: str, name: str, share: Share, part: Contribution | None = None) -> tuple[str, str, str, str, str]:
    level, median = share.level_w_m2, share.share.median
    makes = span(level.low, level.high)
    if part is not None and part.share is not None:
        makes = f"{microwatts(part.median_w_m2)} ({span(part.low_w_m2, part.high_w_m2)})"
        median = part.share
    return place, name, probability(median), makes, probability(share.probability_largest)


def level_map(
    target: Annotated[
        str, typer.Argument(help="File to write: .svg, .csv, .geojson, .gpkg (with plan and levels), .tif or .nc.")
    ],
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    storey: Annotated[str, typer.Option(help="Name or id of the storey; the first one if left out.")] = "",
    kind: Kind = "peak",
    step: Annotated[float, typer.Option(help="Edge of a cell in metres.", min=0.05, max=5.0)] = 0.25,
    bound: Annotated[float | None, typer.Option(help="Also the probability of exceeding this, in µW/m².")] = None,
    language: Annotated[str, typer.Option(help="Of a drawing: en, de or fr; the terminal's if left out.")] = "",
    as_json: AsJson = False,
) -> None:
    """Write the map of a storey with its uncertainty."""
    from roomfield.workbench.model.joint_model import kind_named
    from roomfield.workbench.publish.level_maps import MapOrder, write_map
    from roomfield.workbench.record.things import id_named

    home = opened_job(record, survey).survey
    order = MapOrder(kind_named(kind), step, MICROWATT_M2.si(bound), spoken(language))
    path = write_map(home, visit or None, id_named(home, "storey", storey), target, order)
    answer(as_json, {"map": str(path)}, lambda: echo(f"The map lies at {path}"))


def locate(
    record: Record = DEFAULT_RECORD, survey: SurveyId = "", visit: VisitId = "", as_json: AsJson = False
) -> None:
    """Say where transmitters of unknown position are, as far as the readings tell."""
    from roomfield.workbench.publish.level_maps import sought

    found = [
        {
            "emitter": name,
            "whereabouts": where.whereabouts.value,
            "coverage": where.coverage,
            "centre_m": where.centre,
            "heights_m": where.heights_m,
            "polygons_m": where.polygons,
            "bearing_deg": where.bearing_deg,
            "bearing_interval_deg": (where.bearing_low_deg, where.bearing_high_deg),
            "arcs": [vars(arc) for arc in where.arcs],
        }
        for name, where in sought(opened_job(record, survey).survey, visit or "")
    ]
    answer(as_json, found, lambda: _show_sought(found))


def _show_sought(found: list[dict[str, Any]]) -> None:
    if not found:
        echo("Every emitter of the survey has a position or a direction in the record.")
    for one in found:
        if one["centre_m"] is not None:
            x, y, z = one["centre_m"]
            low, high = one["heights_m"] or (z, z)
            echo(
                f"{one['emitter']}: about x {x:.1f} m, y {y:.1f} m, between {low:.1f} and {high:.1f} m high; "
                f"the {one['coverage']:.0%} region is in the report and in --json"
            )
        elif one["arcs"]:
            ways = [f"{a['middle_deg']:.0f}° ({a['low_deg']:.0f}° to {a['high_deg']:.0f}°)" for a in one["arcs"]]
            chances = ", ".join(f"{a['probability']:.0%}" for a in one["arcs"])
            tail = f"; the readings do not tell which ({chances})" if len(ways) > 1 else ""
            echo(f"{one['emitter']}: from plan north towards {' or '.join(ways)}{tail}")
        elif one["bearing_deg"] is not None:
            echo(f"{one['emitter']}: towards {one['bearing_deg']:.0f}° from plan north, as recorded")


def next_points(
    deciding: Annotated[
        str,
        typer.Option(
            "--for",
            help="What is to be decided: plan (which listed actions), aim (is it met as found), source (which device "
            "is the largest part at the first place), whose (own or others' transmitters there), open (the first of "
            "these that can be asked, where people sleep), or variance: the narrowest levels, whatever is decided.",
        ),
    ] = "open",
    target: Annotated[
        float | None, typer.Option(help="Level to be met, in µW/m²; the client's aim if left out.")
    ] = None,
    at: Annotated[
        list[str] | None,
        typer.Option(help="Where it is to hold: all, sleeping, long_stays, or a place by name or id; repeat."),
    ] = None,
    kind: Kind = "highest_held",
    confidence: Annotated[
        float, typer.Option(help="Probability with which it is to be met.", min=0.5, max=0.999)
    ] = 0.9,
    stake: Annotated[
        float | None, typer.Option(help="What the right decision is worth, in the actions' money.")
    ] = None,
    rate: Annotated[float, typer.Option(help="What the client pays for a minute of measuring.", min=0.0)] = 1.5,
    language: Annotated[str, typer.Option(help="Of the sentences: en, de or fr; the terminal's if left out.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    as_json: AsJson = False,
) -> None:
    """Say what to measure next for a decision: what avoids most expected regret per minute; or that it is enough."""
    from roomfield.workbench.plan.next_measurement import asked_question, measure_next_for
    from roomfield.workbench.record.visit_choice import visit_asked_or_first

    here = opened_job(record, survey).survey
    if deciding == "variance":
        return _next_for_variance(here, visit, as_json)
    question = asked_question(
        here, deciding, MICROWATT_M2.si(target), at=at or (), kind=kind, confidence=confidence,
        stake=stake, client_rate=rate,
    )  # fmt: skip
    found = measure_next_for(here, visit_asked_or_first(here, visit).id, question, spoken(language))
    return answer(as_json, found.to_dict(), lambda: _show_advice(found))


def _show_advice(found: Advice) -> None:
    echo(found.sentence)
    echo(found.now)
    if not found.rows:
        return
    rows = [(f"{n}", r.sentence, f"{r.regret_avoided:.0f}", f"{r.per_minute:.1f}") for n, r in enumerate(found.rows, 1)]
    table("Candidates", ("", "what", "avoids", "per minute"), rows)


def _next_for_variance(survey: Survey, visit: str, as_json: bool) -> None:
    from roomfield.workbench.publish.level_maps import next_readings

    found = [vars(point) for point in next_readings(survey, visit)]
    rows = [
        (
            p["room"] or p["storey"],
            ", ".join(f"{v:.1f}" for v in p["position"]),
            f"{p['std_now_db']:.1f} dB",
            f"{p['std_then_db']:.1f} dB",
        )
        for p in found
    ]
    columns = ("room", "x, y, z in m", "now", "then")
    answer(as_json, found, lambda: table("Measure next (mean uncertainty at the places)", columns, rows))
