"""Readings from CSV and XLSX: a confirmed mapping in, readings and every rejected row out."""

from __future__ import annotations

import gc
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from math import isinf
from pathlib import Path

from roomfield.errors import RejectedRows, RowFault
from roomfield.exchange.drafts import Draft, DraftReader, DraftValue, ReadingContext
from roomfield.exchange.places import perhaps_known
from roomfield.quantities.censoring import Censoring
from roomfield.quantities.convert import density_from_unit
from roomfield.survey.equipment import Meter
from roomfield.survey.observation import Origin, Reading
from roomfield.survey.ordering import kinds_out_of_order
from roomfield.survey.place import Place
from roomfield.survey.survey_record import Survey
from roomfield.survey.values import value_faults
from roomfield.table_files.column_guess import is_empty
from roomfield.table_files.column_mapping import ColumnMapping, confirmed_table
from roomfield.table_files.table_reader import RawTable

Progress = Callable[[int, int], None]
_STEP = 2000
_NO_VALUE_NEAR = "no value of this row is near the meter's floor; write < before the value that is meant"
_NO_OVERLOAD = "the meter's overload value is not stated; write > and the highest value it shows"
_NEAR_FLOOR = 3.0
"""A value under three times the floor is not told apart from nothing (common practice, no source)."""


@dataclass(frozen=True)
class ImportPlan:
    """What an import would add; nothing has been stored yet.

    Parameters
    ----------
    readings : tuple of Reading
        In the order of the file.
    new_places : tuple of Place
        To be stored before the readings.
    faults : tuple of RowFault
        Rejected rows; empty unless the rest was accepted in spite of them.
    empty_lines : tuple of int
        Lines that hold no value and were passed over.
    remarks : tuple of str
        What the user should know, one sentence each.
    """

    mapping: ColumnMapping
    readings: tuple[Reading, ...]
    new_places: tuple[Place, ...] = ()
    faults: tuple[RowFault, ...] = ()
    empty_lines: tuple[int, ...] = ()
    remarks: tuple[str, ...] = ()


def import_readings(
    path: Path,
    mapping: ColumnMapping,
    context: ReadingContext,
    *,
    confirmed: bool,
    accept_rest: bool = False,
    progress: Progress | None = None,
) -> ImportPlan:
    """Read a table of readings as a confirmed mapping says.

    Parameters
    ----------
    path : Path
        The file that the mapping was made from.
    mapping : ColumnMapping
        As guessed and corrected; it must have no open question.
    context : ReadingContext
        Visit, meter and whatever else the table does not say.
    confirmed : bool
        True once the user has seen the mapping and agreed.
    accept_rest : bool
        True to take the good rows although others are rejected.
    progress : callable, optional
        Called with rows done and rows in all.

    Raises
    ------
    TooEarlyError
        If the mapping has not been confirmed.
    RejectedRows
        If any row is rejected and ``accept_rest`` is False.
    InputError
        If a question is open, or the file is not the one that the mapping was made from.
    UnknownNameError
        If the context names a visit, meter or radio state that does not exist.
    """
    with _collection_paused():
        table = confirmed_table(path, mapping, confirmed=confirmed)
        return _import(table, mapping, context, accept_rest, progress)


@contextmanager
def _collection_paused() -> Iterator[None]:
    """Spare the search for cycles among many small records that all live on; it takes a third of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _import(
    table: RawTable, mapping: ColumnMapping, context: ReadingContext, accept_rest: bool, progress: Progress | None
) -> ImportPlan:
    reader = DraftReader(mapping, context)
    drafts, empty = _drafts(table, mapping, reader, progress)
    readings, remarks = _readings(drafts, mapping, context, reader.faults)
    if reader.faults and not accept_rest:
        raise RejectedRows(
            sorted(reader.faults, key=lambda fault: fault.line),
            where=mapping.file_name,
            mend="Correct these rows, or import the rest without them.",
        )
    used = {reading.place_id for reading in readings}
    new = tuple(place for place in reader.places.made if place.id in used)
    return ImportPlan(
        mapping,
        readings,
        new,
        tuple(sorted(reader.faults, key=lambda fault: fault.line)),
        empty,
        (*remarks, *_twice_perhaps(context.survey, new)),
    )


def _twice_perhaps(survey: Survey, made: Sequence[Place]) -> Iterator[str]:
    for place in made:
        known = perhaps_known(survey, place)
        if known:
            yield f"{place.name!r} is new here; if it is {' or '.join(map(repr, known))}, write that name in the table."


def _drafts(
    table: RawTable, mapping: ColumnMapping, reader: DraftReader, progress: Progress | None
) -> tuple[list[Draft], tuple[int, ...]]:
    below = [i for i, line in enumerate(table.lines) if line > mapping.header_line]
    drafts: list[Draft] = []
    empty: list[int] = []
    for done, i in enumerate(below):
        if progress is not None and done % _STEP == 0:
            progress(done, len(below))
        row, line = table.rows[i], table.lines[i]
        faults = len(reader.faults)
        draft = None if is_empty(row) else reader.read(line, row)
        if draft is not None:
            drafts.append(draft)
        elif len(reader.faults) == faults and not is_empty(row):
            empty.append(line)
    if progress is not None:
        progress(len(below), len(below))
    return drafts, tuple(empty)


def _readings(
    drafts: Sequence[Draft], mapping: ColumnMapping, context: ReadingContext, faults: list[RowFault]
) -> tuple[tuple[Reading, ...], tuple[str, ...]]:
    meters = {meter.id: meter for meter in context.survey.meters}
    densities = _densities(drafts)
    seen: Counter[tuple[object, ...]] = Counter()
    readings: list[Reading] = []
    for draft, shown in zip(drafts, densities, strict=True):
        bounded = bounded_values(draft, shown, meters[draft.meter_id])
        if not bounded:
            faults.append(RowFault(draft.line, "flag", "FLOOR", _NO_VALUE_NEAR))
            continue
        if any(isinf(density) for density, _ in bounded):
            faults.append(RowFault(draft.line, "flag", "OL", _NO_OVERLOAD))
            continue
        made = _of_one_row(draft, bounded, mapping, context, _replicate(draft, seen))
        refused = [_row_fault(draft, reading) for reading in made]
        if any(refused):
            faults += [fault for fault in refused if fault is not None]
            continue
        readings += made
    return tuple(readings), tuple(_remarks(drafts, densities))


def _densities(drafts: Sequence[Draft]) -> list[list[float | None]]:
    """Power density [W/m²] of every value, None for bare words; one conversion for each unit."""
    wanted: dict[str, list[float]] = {}
    for draft in drafts:
        for value in draft.values:
            if value.amount.number is not None:
                wanted.setdefault(value.unit, []).append(value.amount.number)
    converted = {unit: iter(density_from_unit(numbers, unit).tolist()) for unit, numbers in wanted.items()}
    return [[None if v.amount.number is None else next(converted[v.unit]) for v in draft.values] for draft in drafts]


def bounded_values(draft: Draft, densities_w_m2: Sequence[float | None], meter: Meter) -> list[tuple[float, Censoring]]:
    """Values of one row with the bounds they carry; empty if a floor flag fits none of them.

    A value marked as a bound stays that bound. A bare word stands for the meter's own floor or overload, zero
    for less than its floor. An overload flag makes every value of the row a lower bound, for what clips the
    peak lowers the average too. A floor flag makes the values near the floor upper bounds.

    Parameters
    ----------
    densities_w_m2 : sequence of float or None
        Power density of each value [W/m²]; None for a bare word.
    """
    bounded = [_own_bound(value, density, meter) for value, density in zip(draft.values, densities_w_m2, strict=True)]
    if draft.flag is Censoring.NONE:
        return bounded
    open_at = [i for i, (_, censoring) in enumerate(bounded) if censoring is Censoring.NONE]
    if draft.flag is Censoring.BELOW and len(bounded) > 1:
        near = [i for i in open_at if bounded[i][0] <= _NEAR_FLOOR * meter.figures.floor_w_m2]
        if not near and len(open_at) == len(bounded):
            return []
        open_at = near
    for i in open_at:
        bounded[i] = (bounded[i][0], draft.flag)
    return bounded


def _own_bound(value: DraftValue, density_w_m2: float | None, meter: Meter) -> tuple[float, Censoring]:
    if density_w_m2 is None:
        above = value.amount.censoring is Censoring.ABOVE
        return (meter.figures.overload_w_m2 if above else meter.figures.floor_w_m2), value.amount.censoring
    if density_w_m2 == 0.0 and value.amount.censoring is not Censoring.ABOVE:
        return meter.figures.floor_w_m2, Censoring.BELOW
    return density_w_m2, value.amount.censoring


def _replicate(draft: Draft, seen: Counter[tuple[object, ...]]) -> int:
    """The replicate written in the row, or else how often the same thing stood further up."""
    if draft.replicate is not None:
        return draft.replicate
    kinds = tuple(value.kind for value in draft.values)
    same = (draft.place_id, draft.position, draft.meter_id, draft.radio_state_id, draft.orientation, kinds)
    seen[same] += 1
    return seen[same] - 1


def _of_one_row(
    draft: Draft,
    bounded: Sequence[tuple[float, Censoring]],
    mapping: ColumnMapping,
    context: ReadingContext,
    replicate: int,
) -> list[Reading]:
    origin = Origin(mapping.file_name, mapping.sha256, draft.line)
    return [
        Reading(
            # The same line of the same file always gets the same id, so that importing twice adds nothing.
            id=f"{mapping.sha256[:16]}-{draft.line}-{value.kind.value}",
            visit_id=context.visit_id,
            meter_id=draft.meter_id,
            radio_state_id=draft.radio_state_id,
            kind=value.kind,
            value_w_m2=density_w_m2,
            place_id=draft.place_id,
            position=draft.position,
            censoring=censoring,
            orientation=draft.orientation,
            scan=draft.scan,
            scan_edge_m=context.scan_edge_m,
            taken_at=draft.taken_at,
            replicate=replicate,
            note=draft.note,
            origin=origin,
            watched_s=draft.held.watched_s,
            height_m=draft.held.height_m,
            body_distance_m=draft.held.body_distance_m,
            accessory_id=draft.held.accessory_id,
        )
        for value, (density_w_m2, censoring) in zip(draft.values, bounded, strict=True)
    ]


def _row_fault(draft: Draft, reading: Reading) -> RowFault | None:
    """Why a reading cannot be, if it cannot, under the column that says so."""
    fault = next(value_faults(reading), None)
    if fault is None:
        return None
    field = fault.where.rpartition(": ")[2]
    header = next((value.header for value in draft.values if value.kind is reading.kind), "")
    shown = getattr(reading, field, "")
    return RowFault(draft.line, header if field == "value_w_m2" else field, str(shown), fault.what.rstrip("."))


def _remarks(drafts: Sequence[Draft], densities: Sequence[Sequence[float | None]]) -> Iterator[str]:
    zeros = sum(row.count(0.0) for row in densities)
    if zeros:
        yield f"{zeros} values of zero were taken as below the meter's floor."
    odd = [draft.line for draft, row in zip(drafts, densities, strict=True) if _out_of_order(draft, row)]
    if odd:
        yield (
            f"in {len(odd)} rows the average is above the peak, or the peak above the highest held, which cannot be "
            f"(the first is line {odd[0]}): check whether the columns are the right way round."
        )


def _out_of_order(draft: Draft, densities: Sequence[float | None]) -> bool:
    rows = zip(draft.values, densities, strict=True)
    return kinds_out_of_order(
        [(value.kind, d) for value, d in rows if d is not None and value.amount.censoring is Censoring.NONE]
    )
