"""meter, meter-check, accessory: what the meter is, how it drifts, what stands in front of it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, answer, echo
from roomfield.cli.terminal_language import opened_job
from roomfield.cli.terminal_numbers import terminal_words
from roomfield.errors import InputError
from roomfield.show.trade_units import COUNT, DECIBEL, MEGAHERTZ, METRE, MICROSECOND, MICROWATT_M2, SECOND

if TYPE_CHECKING:
    from roomfield.workbench.record.meters import MeterStanding

_FIGURES = {
    "band_low_hz": ("band from", MEGAHERTZ),
    "band_high_hz": ("band to", MEGAHERTZ),
    "tolerance_db": ("tolerance, plus or minus", DECIBEL),
    "repeatability_db": ("repeatability", DECIBEL),
    "floor_w_m2": ("floor", MICROWATT_M2),
    "overload_w_m2": ("overload", MICROWATT_M2),
    "response_s": ("response time", MICROSECOND),
    "averaging_s": ("averaging window", SECOND),
    "body_distance_m": ("distance from the body", METRE),
    "pickup_axes": ("antenna axes", COUNT),
}


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command()(meter)
    # a deviation may be negative: "-0.8" is a number here and no option
    app.command("meter-check", context_settings={"ignore_unknown_options": True})(meter_check)
    app.command()(accessory)


def meter(
    meter_id: Annotated[str, typer.Argument(help="Id of the meter; the first one if left out.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    name: Annotated[str | None, typer.Option(help="Name of the meter.")] = None,
    serial: Annotated[str | None, typer.Option(help="Serial number.")] = None,
    tolerance: Annotated[float | None, typer.Option(help="Stated tolerance, plus or minus, dB.")] = None,
    repeatability: Annotated[float | None, typer.Option(help="Standard deviation of repeated scans, dB.")] = None,
    floor: Annotated[float | None, typer.Option(help="Lowest value told from nothing, µW/m².")] = None,
    overload: Annotated[float | None, typer.Option(help="Highest value shown, µW/m².")] = None,
    low: Annotated[float | None, typer.Option(help="Lower end of the rated band, MHz.")] = None,
    high: Annotated[float | None, typer.Option(help="Upper end of the rated band, MHz.")] = None,
    response: Annotated[float | None, typer.Option(help="Response time of the detector, µs.")] = None,
    averaging: Annotated[float | None, typer.Option(help="Window of the average, s.")] = None,
    body: Annotated[float | None, typer.Option(help="Distance from the body, m.")] = None,
    axes: Annotated[int | None, typer.Option(help="Axes of the antenna: 1 or 3.")] = None,
    calibrated: Annotated[str | None, typer.Option(help="Date of the last calibration.")] = None,
    due: Annotated[str | None, typer.Option(help="Date the calibration is due, such as 2027-06-01.")] = None,
    certificate: Annotated[str | None, typer.Option(help="Name or number of the certificate.")] = None,
    row: Annotated[
        list[str] | None,
        typer.Option(help="Row of the certificate, 'MHz correction uncertainty' in dB (k = 1); repeat for more."),
    ] = None,
    zone: Annotated[
        list[str] | None,
        typer.Option(help="Zone of the band with a tolerance of its own, 'MHz MHz dB'; repeat for more."),
    ] = None,
    on: Annotated[str, typer.Option(help="Day for which the calibration is judged; today if left out.")] = "",
    as_json: AsJson = False,
) -> None:
    """Enter a meter's figures, and show how it stands: what is assumed, how it drifts, what is due."""
    from roomfield.workbench.record.meters import meter_standing
    from roomfield.workbench.record.setting_up import put_meter

    job = opened_job(record, survey)
    rows = [_numbers(text, 3, "--row", "900 -0.4 0.8") for text in row or []]
    zones = [_numbers(text, 3, "--zone", "300 650 8") for text in zone or []]
    made = put_meter(
        job,
        meter_id,
        certificate_rows=[(MEGAHERTZ.si(mhz), correction, std) for mhz, correction, std in rows],
        zones=[(MEGAHERTZ.si(first), MEGAHERTZ.si(last), wide) for first, last, wide in zones],
        name=name,
        serial=serial,
        tolerance_db=tolerance,
        repeatability_db=repeatability,
        floor_w_m2=MICROWATT_M2.si(floor),
        overload_w_m2=MICROWATT_M2.si(overload),
        band_low_hz=MEGAHERTZ.si(low),
        band_high_hz=MEGAHERTZ.si(high),
        response_s=MICROSECOND.si(response),
        averaging_s=averaging,
        body_distance_m=body,
        pickup_axes=axes,
        calibrated_on=calibrated,
        calibration_due=due,
        certificate=certificate,
    )
    standing = meter_standing(job.again().survey if job.store else job.survey, made.id, on)
    answer(as_json, standing.to_dict(), lambda: _show(standing))


def _numbers(text: str, count: int, option: str, example: str) -> list[float]:
    try:
        found = [float(part) for part in text.replace(",", ".").split()]
    except ValueError:
        found = []
    if len(found) != count:
        raise InputError(f"{text!r} is not {count} numbers.", where=option, mend=f"Write it as '{example}'.")
    return found


def _show(standing: MeterStanding) -> None:
    made = standing.meter
    echo(f"{made.id}: {made.name}{', serial number ' + made.serial if made.serial else ''}")
    given = terminal_words().numbers.as_given
    for figure in standing.figures:
        label, unit = _FIGURES[figure.name]
        shown = "none" if figure.value is None else f"{given(unit.shown(figure.value))} {unit.name}".strip()
        echo(f"  {label}: {shown}{'' if figure.stated else '  (not stated; taken with caution)'}")
    for one in made.zones:
        echo(
            f"  zone {MEGAHERTZ.shown(one.low_hz):g} to {MEGAHERTZ.shown(one.high_hz):g} MHz: ±{one.tolerance_db:g} dB"
        )
    for point in made.calibration:
        at = f"{MEGAHERTZ.shown(point.frequency_hz):g} MHz"
        echo(f"  certificate {at}: {point.correction_db:+g} dB, u = {point.std_db:g} dB")
    for thing in made.accessories:
        changes = ", ".join(f"{p.change_db:+g} dB at {MEGAHERTZ.shown(p.frequency_hz):g} MHz" for p in thing.response)
        echo(f"  accessory {thing.id}: {thing.name} ({thing.kind.value}), {changes}")
    echo(f"A total of unknown frequencies: standard uncertainty of the gain {standing.total_std_db:.1f} dB")
    _show_checks(standing)


def _show_checks(standing: MeterStanding) -> None:
    chart, days = standing.chart, standing.days_to_calibration
    if chart is None:
        echo(f"Checks: {len(standing.meter.checks)}; a control chart needs four.")
    else:
        verdict = "the meter drifts: have it checked" if chart.drifting else "no drift shown"
        echo(
            f"Checks: {len(chart.values_db)}, mean {chart.centre_db:+.2f} dB, limits {chart.lower_db:+.2f} to "
            f"{chart.upper_db:+.2f} dB; {verdict}"
        )
    if standing.meter.self_tests:
        last = standing.meter.self_tests[-1]
        outcome = "" if last.passed is None else (", passed" if last.passed else ", FAILED")
        echo(f"Last self-test: {last.at}{outcome}{', battery ' + last.battery if last.battery else ''}")
    if days is None:
        echo("Calibration: no due date is known.")
    elif days < 0:
        echo(f"Calibration: overdue since {standing.meter.calibration_due}.")
    else:
        soon = " Send it soon." if standing.calibration_due_soon else ""
        echo(f"Calibration: due on {standing.meter.calibration_due}, in {days} days.{soon}")


def meter_check(
    source: Annotated[str, typer.Argument(help="Reference source and its setting; 'self-test' for the meter's own.")],
    deviation: Annotated[float | None, typer.Argument(help="Reading minus what it should show, dB.")] = None,
    meter_id: Annotated[str, typer.Option("--meter", help="Id of the meter; the first one if left out.")] = "",
    at: Annotated[str, typer.Option(help="Date, or date and time; now if left out.")] = "",
    battery: Annotated[str, typer.Option(help="What the meter shows of its battery, as it shows it.")] = "",
    failed: Annotated[bool, typer.Option("--failed", help="The self-test failed.")] = False,
    note: Annotated[str, typer.Option(help="Whatever may matter later.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Keep a check of the meter at a reference source, or its self-test, and show the control chart."""
    from roomfield.workbench.record.setting_up import add_check, add_self_test

    job = opened_job(record, survey)
    if deviation is None:
        standing = add_self_test(job, meter_id, at=at, passed=not failed, battery=battery, note=note)
    else:
        standing = add_check(job, meter_id, at=at, source=source, deviation_db=deviation, note=note)
    answer(as_json, standing.to_dict(), lambda: _show_checks(standing))


def accessory(
    name: Annotated[str, typer.Argument(help="What it is called, such as '20 dB pad'.")],
    row: Annotated[
        list[str], typer.Option(help="'MHz change uncertainty' in dB; -20 for an attenuator of 20 dB; repeat for more.")
    ],
    kind: Annotated[str, typer.Option(help="attenuator, filter, antenna or amplifier.")] = "attenuator",
    accessory_id: Annotated[str, typer.Option("--id", help="Id by which readings name it; made if left out.")] = "",
    meter_id: Annotated[str, typer.Option("--meter", help="Id of the meter; the first one if left out.")] = "",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    as_json: AsJson = False,
) -> None:
    """Enter what may stand in front of a meter: how much more it then shows, in dB over frequency."""
    from roomfield.workbench.record.setting_up import add_accessory

    rows = [_numbers(text, 3, "--row", "1000 -20 0.5") for text in row]
    points = [(MEGAHERTZ.si(mhz), change, std) for mhz, change, std in rows]
    standing = add_accessory(opened_job(record, survey), meter_id, name, kind, points, accessory_id)
    answer(as_json, standing.to_dict(), lambda: _show(standing))
