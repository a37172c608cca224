"""take-in, take-bearings, take-spectrum, sheet: what comes from a file, and the form it is written down on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from roomfield.cli.console import DEFAULT_RECORD, AsJson, Record, SurveyId, VisitId, answer, echo, progress, row_words
from roomfield.cli.terminal_language import opened_job, speak_of
from roomfield.cli.terminal_numbers import microwatts, tell

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roomfield.errors import RowFault
    from roomfield.exchange.readings_table import ImportPlan
    from roomfield.workbench.record.spectrum_intake import SpectrumPlan


def register(app: typer.Typer) -> None:
    """Add the verbs."""
    app.command(name="take-in")(take_in)
    app.command(name="take-bearings")(take_bearings)
    app.command(name="take-spectrum", context_settings={"ignore_unknown_options": True})(take_spectrum)
    app.command()(sheet)


def take_in(
    file: Annotated[str, typer.Argument(help="CSV or XLSX with readings.")],
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    meter: Annotated[str, typer.Option(help="Meter, where the table does not say.")] = "",
    state: Annotated[str, typer.Option(help="Radio state, where the table does not say.")] = "",
    column: Annotated[
        list[str] | None, typer.Option(help="A column taken as something else: 'Level 1=peak[uW/m2]'.")
    ] = None,
    dates: Annotated[str, typer.Option(help="Order of dates: ymd, dmy or mdy.")] = "",
    decimal: Annotated[str, typer.Option(help="Decimal sign: . or ,")] = "",
    grouped: Annotated[bool, typer.Option("--grouped", help="The other sign groups thousands.")] = False,
    of_sheet: Annotated[str, typer.Option("--sheet", help="Sheet of a workbook; the first one if left out.")] = "",
    utc_offset: Annotated[str, typer.Option(help="Offset of times without one, such as +01:00.")] = "",
    make_places: Annotated[bool, typer.Option("--make-places", help="Make unknown places.")] = False,
    accept_rest: Annotated[bool, typer.Option("--accept-rest", help="Take good rows although others fail.")] = False,
    again: Annotated[bool, typer.Option("--again", help="Take a file in although it was taken in before.")] = False,
    confirm: Annotated[bool, typer.Option("--confirm", help="The columns are right: store the readings.")] = False,
    as_json: AsJson = False,
) -> None:
    """Take readings in from a file: first shows how the columns are read; --confirm stores them."""
    from roomfield.workbench.record.readings_intake import Circumstances, Corrections, guessed
    from roomfield.workbench.record.readings_intake import take_in as call

    mapping = guessed(file, Corrections(column or (), dates, decimal, grouped, of_sheet))
    if not confirm:
        speak_of(record, survey)
        plain = {
            "confirmed": False,
            "description": mapping.describe(),
            "questions": list(mapping.questions()),
        }
        settle_with = "--column, --dates or --decimal" if mapping.questions() else ""
        answer(as_json, plain, lambda: _show_columns(mapping.describe(), settle_with))
        return
    given = Circumstances(visit, meter, state, utc_offset, make_places, accept_rest, again)
    with progress("readings") as on_progress:
        plan = call(opened_job(record, survey), file, mapping, given, confirmed=True, on_progress=on_progress)
    plain = {
        "readings": len(plan.readings),
        "new_places": [{"name": p.name, "use": p.kind.value} for p in plan.new_places],
        "rejected": [vars(f) for f in plan.faults],
        "remarks": list(plan.remarks),
    }
    answer(as_json, plain, lambda: _show_plan(plan))


def _show_columns(words: str, settle_with: str) -> None:
    """How the columns are read, and what to say next; ``settle_with`` is empty if nothing is open."""
    echo(words)
    if settle_with:
        echo(f"Settle this with {settle_with}; nothing was stored.")
    else:
        echo("Nothing was stored. If this is right, say the same again with --confirm.")


def _show_plan(plan: ImportPlan) -> None:
    echo(f"{len(plan.readings)} readings are in the record.")
    for place in plan.new_places:
        echo(f"  new place: {place.name}, taken as {place.kind.value}")
    for fault in plan.faults:
        echo(f"  left out: {row_words(fault)}")
    for remark in plan.remarks:
        echo(f"  {remark}")


def take_bearings(
    file: Annotated[str, typer.Argument(help="CSV or XLSX with bearings in degrees.")],
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    meter: Annotated[str, typer.Option(help="Meter, where the table does not say.")] = "",
    state: Annotated[str, typer.Option(help="Radio state, where the table does not say.")] = "",
    column: Annotated[list[str] | None, typer.Option(help="A column taken as something else: 'Angle 2=null'.")] = None,
    decimal: Annotated[str, typer.Option(help="Decimal sign: . or ,")] = "",
    of_sheet: Annotated[str, typer.Option("--sheet", help="Sheet of a workbook; the first one if left out.")] = "",
    accept_rest: Annotated[bool, typer.Option("--accept-rest", help="Take good rows although others fail.")] = False,
    confirm: Annotated[bool, typer.Option("--confirm", help="The columns are right: store the bearings.")] = False,
    as_json: AsJson = False,
) -> None:
    """Take bearings of peak or null in from a file: first shows how the columns are read; --confirm stores them."""
    from roomfield.workbench.record import bearings_intake
    from roomfield.workbench.record.readings_intake import Circumstances, Corrections

    mapping = bearings_intake.guessed_bearings(file, Corrections(column or (), decimal=decimal, sheet=of_sheet))
    if not confirm:
        speak_of(record, survey)
        plain = {"confirmed": False, "description": mapping.describe(), "questions": list(mapping.questions())}
        answer(
            as_json,
            plain,
            lambda: _show_columns(mapping.describe(), "--column or --decimal" if mapping.questions() else ""),
        )
        return
    given = Circumstances(visit, meter, state, accept_rest=accept_rest)
    plan = bearings_intake.take_bearings(opened_job(record, survey), file, mapping, given, confirmed=True)
    stored = {"bearings": len(plan.bearings), "rejected": [vars(f) for f in plan.faults]}
    answer(as_json, stored, lambda: _show_bearings(len(plan.bearings), plan.faults))


def _show_bearings(count: int, faults: Sequence[RowFault]) -> None:
    echo("1 bearing is in the record." if count == 1 else f"{count} bearings are in the record.")
    for fault in faults:
        echo(f"  left out: {row_words(fault)}")


def take_spectrum(
    file: Annotated[str, typer.Argument(help="CSV or XLSX: frequency and levels, or bands and levels.")],
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    state: Annotated[str, typer.Option(help="Radio state, where the table does not say.")] = "",
    at: Annotated[str, typer.Option(help="Place, where the table does not say.")] = "",
    kind: Annotated[str, typer.Option(help="peak, highest_held or average, where the table does not say.")] = "",
    instrument: Annotated[str, typer.Option(help="What the instrument is called.")] = "Analyser",
    axes: Annotated[int, typer.Option(help="Axes of the antenna: 1 or 3.")] = 1,
    accuracy: Annotated[float | None, typer.Option(help="Accuracy of the instrument, plus or minus, dB.")] = None,
    antenna: Annotated[str, typer.Option(help="Table of antenna factors (dB/m) or gains (dBi).")] = "",
    cable: Annotated[str, typer.Option(help="Table of cable losses (dB), or its two-port (.s2p).")] = "",
    rbw: Annotated[str, typer.Option(help="Resolution bandwidth of a trace, such as 100kHz.")] = "",
    noise_bandwidth: Annotated[
        float | None, typer.Option(help="Noise bandwidth over the resolution bandwidth, if known.")
    ] = None,
    averaging: Annotated[str, typer.Option(help="What was averaged: power (RMS) or log.")] = "power",
    floor: Annotated[float | None, typer.Option(help="What noise alone shows, in the unit of the levels.")] = None,
    bands: Annotated[str, typer.Option(help="Table of bands; those of European services if left out.")] = "",
    fixed: Annotated[bool, typer.Option("--fixed", help="The antenna stood still.")] = False,
    time: Annotated[str, typer.Option(help="Date and time of the levels.")] = "",
    column: Annotated[
        list[str] | None, typer.Option(help="A column taken as something else: 'Trace 1=highest_held[dBm]'.")
    ] = None,
    decimal: Annotated[str, typer.Option(help="Decimal sign: . or ,")] = "",
    of_sheet: Annotated[str, typer.Option("--sheet", help="Sheet of a workbook; the first one if left out.")] = "",
    make_places: Annotated[bool, typer.Option("--make-places", help="Make unknown places.")] = False,
    confirm: Annotated[bool, typer.Option("--confirm", help="The columns are right: store the levels.")] = False,
    as_json: AsJson = False,
) -> None:
    """Take levels by band in from a trace or a table: first shows how the columns are read; --confirm stores them."""
    from roomfield.workbench.record import spectrum_intake
    from roomfield.workbench.record.readings_intake import Corrections

    mapping = spectrum_intake.guessed_spectrum(file, Corrections(column or (), decimal=decimal, sheet=of_sheet))
    if not confirm:
        speak_of(record, survey)
        plain = {"confirmed": False, "description": mapping.describe(), "questions": list(mapping.questions())}
        settle_with = "--column or --decimal" if mapping.questions() else ""
        answer(as_json, plain, lambda: _show_columns(mapping.describe(), settle_with))
        return
    used = spectrum_intake.Instrument(
        instrument, axes, accuracy, spectrum_intake.hertz(rbw) if rbw else None, noise_bandwidth, averaging, antenna,
        cable, bands, floor,
    )  # fmt: skip
    given = spectrum_intake.SpectrumCircumstances(
        at, spectrum_intake.kind_asked(kind), visit, state, time, fixed, make_places
    )
    plan = spectrum_intake.take_spectrum(opened_job(record, survey), file, mapping, used, given, confirmed=True)
    answer(as_json, plan.to_dict(), lambda: _show_bands(plan))


def _show_bands(plan: SpectrumPlan) -> None:
    count = len(plan.bands)
    echo("1 level of a band is in the record." if count == 1 else f"{count} levels of bands are in the record.")
    for one in plan.bands:
        shown = microwatts(one.reading.value_w_m2, one.reading.censoring.value)
        echo(f"  {one.meter.name}, {tell(one.reading.kind.value.replace('_', '-'))}: {shown} µW/m²")
    for place in plan.new_places:
        echo(f"  new place: {place.name}, taken as {place.kind.value}")
    for remark in plan.remarks:
        echo(f"  {remark}")


def sheet(
    target: Annotated[str, typer.Argument(help="PDF to write.")] = "field-sheet.pdf",
    record: Record = DEFAULT_RECORD,
    survey: SurveyId = "",
    visit: VisitId = "",
    language: Annotated[str, typer.Option(help="en, de or fr; the survey's own if left out.")] = "",
    as_json: AsJson = False,
) -> None:
    """Write the form for a visit; its columns are the ones that take-in reads."""
    from roomfield.workbench.publish.files import write_field_sheet

    path = write_field_sheet(opened_job(record, survey).survey, target, visit_id=visit or None, language=language)
    answer(as_json, {"sheet": str(path)}, lambda: echo(f"The field sheet lies at {path}"))
