"""The coach for a hand scan, from its sound; what the scan is worth goes with its reading."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from roomfield.errors import FormatError, InputError
from roomfield.quantities.kind import Kind
from roomfield.show.shown_scan import ShownScan
from roomfield.signals.coach.course import RATE_HZ
from roomfield.signals.coach.scan_advice import CoachAnswer, ScanCoach, ScanRecord
from roomfield.signals.coach.search import ScanPart
from roomfield.signals.coach.sound import levels_of
from roomfield.signals.night.voltage import Law
from roomfield.survey import ListenedScan
from roomfield.workbench.record.editing import new_id
from roomfield.workbench.record.field_entry import Entry, EntryResult, Value, enter
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.things import id_named
from roomfield.workbench.record.visit_choice import visit_asked_or_only

STEP_S = 5.0


@dataclass(frozen=True)
class CoachedScan:
    """What the coach said of a recorded scan, and what the scan is worth; None if it is too short to say."""

    said: tuple[ShownScan, ...]
    listened: ListenedScan | None


@dataclass(frozen=True)
class CoachedEntry:
    """What the display showed at the end of a coached scan.

    Parameters
    ----------
    place, state : str
        Place and radio state, by name or id; the first state if left out.
    peak, held, average : float or None
        What was read, in µW/m²; at least one.
    visit_id, meter_id : str
        The only visit, and the first meter, if left out.
    """

    place: str
    peak: float | None = None
    held: float | None = None
    average: float | None = None
    state: str = ""
    visit_id: str = ""
    meter_id: str = ""


@dataclass(frozen=True)
class ScanMarks:
    """What the person noted of a scan's parts.

    Parameters
    ----------
    spots : tuple of str
        When the search at each loud spot began, from the start of the recording: seconds or m:ss.
    again : str
        When the second sweep began, with the antenna as it stood at the highest value; empty: there was none.
    """

    spots: tuple[str, ...] = ()
    again: str = ""

    def parts(self) -> dict[int, ScanPart]:
        """Which part began with which value of the scan.

        Raises
        ------
        FormatError
            If a moment cannot be read.
        """
        said = [
            *((text, ScanPart.SPOT) for text in self.spots),
            *([(self.again, ScanPart.AGAIN)] if self.again else []),
        ]
        return {round(_moment(text) * RATE_HZ): part for text, part in said}


def _moment(text: str) -> float:
    seconds = 0.0
    try:
        for part in text.strip().split(":"):
            seconds = 60.0 * seconds + float(part)
    except ValueError:
        seconds = -1.0
    if not 0.0 <= seconds < float("inf"):
        raise FormatError(
            f"a moment of the scan cannot be read: {text!r}.",
            where="scan",
            mend="Write it in seconds or as m:ss from the start of the recording, like 28 or 0:28.",
        )
    return seconds


def coached(
    path: str | Path,
    turns: bool | None = None,
    law: str = "square",
    coupling_hz: float = 0.0,
    marks: ScanMarks | None = None,
) -> CoachedScan:
    """What the coach would have said during a recorded scan, every five seconds and at its end.

    Parameters
    ----------
    path : str or Path
        Recording of the meter's sound during one scan.
    turns : bool or None
        Whether the antenna was turned through all directions; None: not said.
    law : str
        ``square``, ``linear`` or ``log``.
    coupling_hz : float
        Corner of the capacitor between meter and recorder; 0 for none [Hz].
    marks : ScanMarks, optional
        What was begun when, after the first sweep; none at all: it is not known whether the hand went back.

    Raises
    ------
    InputError, FormatError, RangeError
        If the recording cannot be used as a scan.
    """
    levels, step = levels_of(path, Law(law), coupling_hz), int(STEP_S * RATE_HZ)
    parts = (marks or ScanMarks()).parts()
    coach, said = ScanCoach(turns, marked=marks is not None), []
    for first in range(0, len(levels), step):
        last = min(first + step, len(levels))
        cuts = [first, *sorted(at for at in parts if first < at < last), last]
        pushed = [coach.push(levels[a:b], begins=parts.get(a)) for a, b in pairwise(cuts)]
        said.append(shown_scan(pushed[-1]))
    return CoachedScan(tuple(said), None if said[-1].advice == "listen" else listened_of(coach.record()))


def listened_of(record: ScanRecord) -> ListenedScan:
    """The coach's record as it is kept with a reading."""
    return ListenedScan(
        record.seconds, record.spots, record.low_db, record.shortfall_db, record.high_db, record.orientation_share
    )


def keep_coached(job: Job, entry: CoachedEntry, scan: CoachedScan) -> EntryResult:
    """Keep what the display showed together with what the scan is worth.

    Raises
    ------
    InputError
        If there is no record, no number, or the scan is too short to be worth anything.
    UnknownNameError
        If there is no such place, state, visit or meter.
    """
    if job.store is None:
        raise InputError("a document is not written to.", where=job.survey.title, mend="Unpack it into a record.")
    if scan.listened is None:
        raise InputError("the scan is too short to say what it misses.", where="scan", mend="Scan for longer.")
    survey, visit = job.survey, visit_asked_or_only(job.survey, entry.visit_id)
    numbers = ((Kind.PEAK, entry.peak), (Kind.HIGHEST_HELD, entry.held), (Kind.AVERAGE, entry.average))
    if not survey.meters:
        raise InputError("the survey has no meter.", where=survey.title, mend="Add one with 'roomfield meter'.")
    values = tuple(Value(n, kind, watched_s=scan.listened.seconds) for kind, n in numbers if n is not None)
    kept = Entry(
        entry_id=new_id("entry"),
        visit_id=visit.id,
        meter_id=entry.meter_id or survey.meters[0].id,
        radio_state_id=id_named(survey, "state", entry.state) or visit.radio_states[0].id,
        values=values,
        place_id=id_named(survey, "place", entry.place),
        listened=scan.listened,
    )
    return enter(job.store, survey.id, kept)


def shown_scan(said: CoachAnswer) -> ShownScan:
    """An answer of the coach as every door shows it."""
    return ShownScan(said.seconds, said.shortfall_db, said.low_db, said.high_db, said.enough_chance, said.advice.value)
