"""Entrances for a notebook: begin a survey, take in, listen, read logs, ask for shares and maps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import InputError
from roomfield.extras import library
from roomfield.scratch import scratch_folder
from roomfield.signals.analysis import analyse
from roomfield.signals.hearing import Hearing
from roomfield.survey import Meter, Survey
from roomfield.workbench.model.joint_model import kind_named
from roomfield.workbench.model.source_contributions import PlaceCauses, causes
from roomfield.workbench.publish.level_maps import MapOrder, write_map
from roomfield.workbench.record import releasing
from roomfield.workbench.record.begin import begin_survey
from roomfield.workbench.record.bring_plan import PlanWish
from roomfield.workbench.record.bring_plan import bring_plan as call_plan
from roomfield.workbench.record.job import Job, open_job
from roomfield.workbench.record.long_series import LogView, guessed_log, series_from, view_of
from roomfield.workbench.record.plan_import import Asked
from roomfield.workbench.record.put_place import put_place
from roomfield.workbench.record.readings_intake import Circumstances, Corrections, guessed
from roomfield.workbench.record.readings_intake import take_in as call_take_in
from roomfield.workbench.record.recording_analysis import audio_of
from roomfield.workbench.record.recording_analysis import listen as listen_to_file
from roomfield.workbench.record.spectrum_intake import (
    Instrument,
    SpectrumCircumstances,
    guessed_spectrum,
    kind_asked,
)
from roomfield.workbench.record.spectrum_intake import take_spectrum as call_take_spectrum
from roomfield.workbench.record.things import id_named

if TYPE_CHECKING:
    from pandas import DataFrame

pandas = library("pandas", "science")


def begin(record: str | Path, title: str, *, starter: str = "blank", started_at: str = "", **assignment: str) -> Job:
    """Begin a survey in a record, which is made if need be.

    Parameters
    ----------
    record : str or Path
        SQLite file, folder or database URL.
    title : str
        What the survey is called.
    starter : str
        Dwelling to start from.
    started_at : str
        When the first visit began, ISO 8601; now if empty.
    **assignment
        Client, address, jurisdiction, guideline and the other fields of `Assignment`.

    Examples
    --------
    >>> import tempfile, roomfield as rf
    >>> folder = tempfile.mkdtemp()
    >>> job = rf.begin(f"{folder}/a.sqlite", "Flat", client="A. Client", guideline="building-biology-2015")
    >>> job = rf.bring_plan(job, lines=["Bedroom 4 x 3.5"])
    >>> rf.add_place(job, "Bed", position="Bedroom: 1.2 west, 0.8 south").survey.places[0].position
    (1.2, 0.8, 0.5)
    """
    made = begin_survey(str(record), title, assignment, starter=starter, started_at=started_at)
    return open_job(record, made.id)


def bring_plan(job: Job, file: str | Path = "", *, template: str = "", lines: Sequence[str] = ()) -> Job:
    """Bring a plan: from a file, a template, or rooms by size and side; gives the survey with it.

    Parameters
    ----------
    job : Job
        A survey in a record.
    file : str or Path
        GeoJSON in metres, DXF, or text with rooms by size and side.
    template : str
        Dwelling to start from.
    lines : sequence of str
        Such as ``Kitchen 3 x 4.1 east of Living room``.

    Examples
    --------
    >>> import tempfile, roomfield as rf
    >>> folder = tempfile.mkdtemp()
    >>> job = rf.begin(f"{folder}/a.sqlite", "Flat")
    >>> job = rf.bring_plan(job, lines=["Bedroom 4 x 3.5", "window Bedroom south 1 to 2"])
    >>> [room.name for room in job.survey.dwelling.rooms], len(job.survey.dwelling.walls)
    (['Bedroom'], 4)
    """
    return call_plan(job, PlanWish(str(file), template, tuple(lines), Asked(coordinates="metres")))[0]


def add_place(job: Job, name: str, **fields: str) -> Job:
    """Enter a place, or change the one of this name; gives the survey with it.

    Parameters
    ----------
    job : Job
        A survey in a record.
    name : str
        What the place is called.
    **fields
        kind, position, room, night, day, note, as `roomfield.workbench.record.thing_fields` reads them.

    Examples
    --------
    >>> import tempfile, roomfield as rf
    >>> folder = tempfile.mkdtemp()
    >>> job = rf.add_place(rf.begin(f"{folder}/a.sqlite", "Flat"), "Bed", night="8")
    >>> job.survey.places[0].kind.value
    'bed'
    """
    put_place(job, name, fields)
    return job.again()


def take_in(
    job: Job,
    table: str | Path | DataFrame,
    *,
    columns: Mapping[str, str] | None = None,
    visit: str = "",
    meter: str = "",
    state: str = "",
    make_places: bool = False,
) -> Job:
    """Take in a table of readings, all of it or nothing; gives the survey with them.

    Parameters
    ----------
    job : Job
        A survey in a record.
    table : str, Path or DataFrame
        CSV or XLSX, or a data frame with the columns of such a table, as ``place`` and ``peak [µW/m²]``.
    columns : mapping of str to str, optional
        What a column is, by its header, such as ``{"Level 1": "peak[uW/m2]"}``; what is not named is guessed.
    visit, meter, state : str
        Where the table does not say.
    make_places : bool
        True to make places that the survey does not know.

    Raises
    ------
    TooEarlyError
        If a column is open: what it is must be said in ``columns``.
    RejectedRows
        If a row cannot be read.

    Examples
    --------
    >>> import tempfile, roomfield as rf
    >>> folder = tempfile.mkdtemp()
    >>> import pandas as pd
    >>> read = pd.DataFrame({"place": ["Bed"], "peak [µW/m²]": [340.0]})
    >>> job = rf.take_in(rf.begin(f"{folder}/a.sqlite", "Flat"), read, make_places=True)
    >>> round(job.survey.readings[0].value_w_m2 * 1e6)
    340
    """
    given = Corrections([f"{header}={meaning}" for header, meaning in (columns or {}).items()])
    circumstances = Circumstances(visit, meter, state, make_places=make_places)
    with scratch_folder() as folder:
        path = _as_file(table, folder)
        call_take_in(job, path, guessed(path, given), circumstances, confirmed=True)
    return job.again()


def take_spectrum(
    job: Job,
    table: str | Path | DataFrame,
    *,
    columns: Mapping[str, str] | None = None,
    instrument: Instrument | None = None,
    at: str = "",
    kind: str = "",
    state: str = "",
    make_places: bool = False,
) -> Job:
    """Take in levels by band from a frequency-selective instrument, all or nothing; gives the survey with them.

    Parameters
    ----------
    job : Job
        A survey in a record.
    table : str, Path or DataFrame
        A trace, with the columns ``frequency [MHz]`` and ``average [dBm]`` or the like, or levels by band, with both
        ends of each.
    columns : mapping of str to str, optional
        What a column is, by its header, such as ``{"Trace 1": "highest_held[dBm]"}``; what is not named is guessed.
    instrument : Instrument, optional
        Its name, accuracy, axes, antenna, cable and filter.
    at, kind, state : str
        Place, kind of level and radio state where the table does not say.
    make_places : bool
        True to make places that the survey does not know.

    Raises
    ------
    InputError
        If a column is open, or something is missing from which a field follows.
    RejectedRows
        If a row cannot be read.

    Examples
    --------
    >>> import tempfile, roomfield as rf
    >>> folder = tempfile.mkdtemp()
    >>> import pandas as pd
    >>> bands = pd.DataFrame({"low [MHz]": [935], "high [MHz]": [960], "average [V/m]": [0.03]})
    >>> job = rf.take_spectrum(rf.begin(f"{folder}/a.sqlite", "Flat"), bands, at="Bed", make_places=True)
    >>> job.survey.meters[-1].band_low_hz
    935000000.0
    """
    given = Corrections([f"{header}={meaning}" for header, meaning in (columns or {}).items()])
    circumstances = SpectrumCircumstances(at, kind_asked(kind), state_id=state, make_places=make_places)
    with scratch_folder() as folder:
        path = _as_file(table, folder)
        mapping = guessed_spectrum(path, given)
        call_take_spectrum(job, path, mapping, instrument or Instrument(), circumstances, confirmed=True)
    return job.again()


def _as_file(table: str | Path | DataFrame, folder: Path) -> str | Path:
    """A data frame as the table file that it would be, so that one reader reads both."""
    if isinstance(table, str | Path):
        return table
    path = folder / "frame.csv"
    named = table.reset_index() if table.index.name else table
    named.to_csv(path, index=False, encoding="utf-8", date_format="%Y-%m-%dT%H:%M:%S.%f%z")
    return path


def listen(
    sound: str | Path | NDArray[np.floating], meter: Meter | None = None, *, sample_rate_hz: float | None = None
) -> Hearing:
    """What is heard in a recording, or in an array of sound.

    Parameters
    ----------
    sound : str, Path or ndarray of shape (n,) or (n, channels)
        WAV, FLAC, OGG or MP3 (M4A with the extra ``m4a``), I/Q as SigMF (extra ``sigmf``), or samples.
    meter : Meter, optional
        Whose audio output it is; without its detector law no quantity can be measured on the sound.
    sample_rate_hz : float, optional
        Of samples given as an array [Hz].

    Raises
    ------
    InputError
        If it cannot be read or holds no sound, or the rate of an array is missing.

    Examples
    --------
    >>> import numpy as np, roomfield as rf
    >>> moment = np.arange(8 * 48000) / 48000
    >>> beacons = (np.mod(moment, 0.1024) < 1e-3) + 1e-3 * np.random.default_rng(1).standard_normal(len(moment))
    >>> rf.listen(beacons, sample_rate_hz=48000.0).duration_s
    8.0
    """
    if isinstance(sound, str | Path):
        return listen_to_file(sound, meter)
    return analyse(sound, sample_rate_hz=sample_rate_hz, meter_audio=audio_of(meter))


def read_log(
    table: str | Path | DataFrame, *, bound_w_m2: float | None = None, split: str = "", **settled: object
) -> LogView:
    """Everything that a long log says: statistics, day, events, steps.

    Parameters
    ----------
    table : str, Path or DataFrame
        CSV, TSV, Parquet or XLSX, or a data frame with a column (or a named index) of moments and one of levels.
    bound_w_m2 : float, optional
        The client's bound [W/m²].
    split : str
        A moment, ISO 8601: compare what came after it with what came before.
    **settled
        What the file does not say of itself, such as ``unit="uW/m2"`` or ``zone="Europe/Vienna"``.

    Examples
    --------
    >>> import pandas as pd, roomfield as rf
    >>> moments = pd.date_range("2027-03-01", periods=600, freq="10s", tz="UTC")
    >>> view = rf.read_log(pd.DataFrame({"time": moments, "level [µW/m²]": 20.0}), zone="UTC")
    >>> round(view.statistics.mean * 1e6)
    20
    """
    with scratch_folder() as folder:
        path = _as_file(table, folder)
        mapping = guessed_log(path).confirm(**settled)
        return view_of(series_from(path, mapping, folder), bound_w_m2, split or None)


def shares(
    survey: Job | Survey, *, visit_id: str | None = None, kind: str = "peak", place: str = ""
) -> tuple[PlaceCauses, ...]:
    """Which source makes the level at each place, given all readings at once.

    Parameters
    ----------
    survey : Job or Survey
        With readings and a plan.
    visit_id : str, optional
        The visit; the first one if left out.
    kind : str
        ``peak``, ``highest_held`` or ``average``.
    place : str
        Name or id; all if empty.

    Examples
    --------
    >>> import roomfield as rf
    >>> (cot,) = rf.shares(rf.open_demo(), place="Child's cot")
    >>> cot.place
    "Child's cot"
    """
    home = survey.survey if isinstance(survey, Job) else survey
    return causes(home, visit_id, kind_named(kind).value, id_named(home, "place", place))


def shares_frame(found: Sequence[PlaceCauses]) -> DataFrame:
    """Shares as a data frame, a row for each place and source.

    Parameters
    ----------
    found : sequence of PlaceCauses
        From `shares`.

    Examples
    --------
    >>> import roomfield as rf
    >>> frame = rf.shares_frame(rf.shares(rf.open_demo(), place="Child's cot"))
    >>> bool(frame["share"].between(0.0, 1.0).all())
    True
    """
    rows = [
        {
            "place": one.place,
            "source": switch.name,
            "share": switch.share.share.median,
            "level_low_w_m2": switch.share.level_w_m2.low,
            "level_w_m2": switch.share.level_w_m2.median,
            "level_high_w_m2": switch.share.level_w_m2.high,
            "probability_largest": switch.share.probability_largest,
        }
        for one in found
        for switch in one.shares
    ]
    return pandas.DataFrame(rows)


def level_map(
    survey: Job | Survey,
    target: str | Path,
    *,
    visit_id: str | None = None,
    storey: str = "",
    kind: str = "peak",
    step_m: float = 0.25,
    bound_w_m2: float | None = None,
    language: str = "en",
) -> Path:
    """Write the map of a storey with its uncertainty; the ending says in which form.

    Parameters
    ----------
    survey : Job or Survey
        With readings and a plan.
    target : str or Path
        Ends in .svg, .csv, .geojson, .tif, .nc, or .gpkg: with the plan, the places and their levels.
    visit_id : str, optional
        The visit; the first one if left out.
    storey : str
        Name or id; the first one if empty.
    kind : str
        ``peak``, ``highest_held`` or ``average``.
    step_m : float
        Edge of a cell [m].
    bound_w_m2 : float, optional
        Also the probability of exceeding this [W/m²].
    language : str
        Of a drawing, such as ``en`` or ``de``.

    Examples
    --------
    >>> import tempfile, roomfield as rf
    >>> folder = tempfile.mkdtemp()
    >>> rf.level_map(rf.open_demo(), f"{folder}/map.csv", step_m=1.0).read_text("utf-8").splitlines()[0]
    'x_m,y_m,z_m,mean_db_w_m2,std_db,probability_over_bound'
    """
    home = survey.survey if isinstance(survey, Job) else survey
    order = MapOrder(kind_named(kind), step_m, bound_w_m2, language)
    return write_map(home, visit_id, id_named(home, "storey", storey), target, order)


def sign_off(job: Job, stage: str, *, note: str = "", visit_id: str | None = None) -> Job:
    """Put a report up for review, say that it was reviewed, or release it; the last two by a second person.

    Parameters
    ----------
    job : Job
        Opened from a record.
    stage : str
        ``draft``, ``reviewed`` or ``released``.
    note : str
        What belongs to the step, in free text.
    visit_id : str, optional
        The visit; the first one if left out.

    Raises
    ------
    InputError
        If the survey lies in no record.
    TooEarlyError
        If the step before is missing, or the survey was changed since.
    RightsError
        If it is the same person as the one who put the report up.

    Examples
    --------
    >>> import tempfile, roomfield as rf
    >>> folder = tempfile.mkdtemp()
    >>> job = rf.begin(f"{folder}/a.sqlite", "Flat")
    >>> rf.sign_off(job, "draft").survey.sign_offs[0].stage.value
    'draft'
    """
    if job.store is None:
        raise InputError("only what lies in a record can be signed.", where=job.survey.title, mend="Open a record.")
    releasing.sign_off(job.store, job.survey.id, stage, visit_id=visit_id, note=note)
    return job.again()
