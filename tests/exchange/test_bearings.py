"""Bearings come in whole or not at all, each with its axis, its kind, its line, and a reason if refused."""

from __future__ import annotations

from dataclasses import replace

import openpyxl
import pytest

from roomfield.demo.invented_survey import FIRST, demo_survey
from roomfield.errors import InputError, RejectedRows, TooEarlyError, UnknownNameError
from roomfield.exchange.bearings import BEARINGS, BearingColumn, import_bearings
from roomfield.exchange.drafts import ReadingContext
from roomfield.store.repository import open_store
from roomfield.table_files.column_guess import guess_columns
from roomfield.workbench.record.bearings_intake import guessed_bearings, take_bearings
from roomfield.workbench.record.job import open_job
from roomfield.workbench.record.readings_intake import Circumstances, Corrections

SURVEY = replace(demo_survey(), bearings=())
CONTEXT = ReadingContext(SURVEY, FIRST.id, SURVEY.meters[0].id, FIRST.radio_states[0].id)
LONG = """Place,Source,Frequency [MHz],Bearing [deg],Kind,Level [µW/m²],Remark
Sofa,,2450,190,peak,120,by the window
Sofa,Cordless telephone base,,100°,null,"0,4",
Child's cot,,, -10 ,Peak,,
"""


def table(tmp_path, text, name="b.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def taken(path, **more):
    return import_bearings(path, guess_columns(path, BEARINGS), CONTEXT, confirmed=True, **more)


@pytest.mark.calculated("arithmetic: an axis is the same modulo 180 degrees")
def test_peaks_and_nulls_row_by_row(tmp_path):
    first, second, third = taken(table(tmp_path, LONG)).bearings
    assert (first.strongest_deg, first.null_deg) == (10.0, None)
    assert (second.strongest_deg, second.null_deg) == (None, 100.0)
    assert third.strongest_deg == 170.0
    assert first.position == SURVEY.place("sofa").position
    assert first.strongest_w_m2 == pytest.approx(120e-6) and first.null_w_m2 is None
    assert second.null_w_m2 == pytest.approx(0.4e-6) and second.strongest_w_m2 is None
    assert first.note == "2450 MHz; by the window"
    assert second.note == "Cordless telephone base"
    assert [b.origin.line for b in (first, second, third)] == [2, 3, 4]
    assert first.std_deg == 12.0


def test_one_row_may_hold_both_and_a_workbook_is_read_alike(tmp_path):
    book = openpyxl.Workbook()
    for row in (
        ["Bearings of 14 March"],
        ["x", "y", "z", "Strongest", "Null", "Unsicherheit"],
        [1.0, 2.0, 0.8, 30, 120.5, 8],
    ):
        book.active.append(row)
    book.save(tmp_path / "b.xlsx")
    (one,) = taken(tmp_path / "b.xlsx").bearings
    assert (one.position, one.strongest_deg, one.null_deg, one.std_deg) == ((1.0, 2.0, 0.8), 30.0, 120.5, 8.0)


@pytest.mark.parametrize("kind", ["Art", "Spitze/Null", "peak/null"])
def test_other_headers(tmp_path, kind):
    path = table(tmp_path, f"Platz;Peilung [°];{kind};Funkzustand\nSofa;45,5;Spitze;\nSofa;135;Nullstelle;\n")
    found = taken(path).bearings
    assert (found[0].strongest_deg, found[1].null_deg) == (45.5, 135.0)


@pytest.mark.parametrize(
    ("row", "column", "reason"),
    [
        ("Attic,,,10,peak,,", "Place", "no place"),
        (",,,10,peak,,", "Place", "neither place nor position"),
        ("Sofa,,,400,peak,,", "Bearing [deg]", "not a bearing"),
        ("Sofa,,,north,peak,,", "Bearing [deg]", "not a number"),
        ("Sofa,,,10,side,,", "Kind", "neither peak nor null"),
        ("Sofa,,,10,,,", "Kind", "not said"),
        ("Sofa,,,,peak,,", "Bearing [deg]", "no bearing"),
        ("Sofa,Ghost,,10,peak,,", "Source", "no transmitter"),
        ("Sofa,,-3,10,peak,,", "Frequency [MHz]", "not a frequency"),
        ("Sofa,,,10,peak,-1,", "Level [µW/m²]", "not a level"),
    ],
)
def test_a_row_that_cannot_be_is_named_and_nothing_is_taken(tmp_path, row, column, reason):
    path = table(tmp_path, LONG + row + "\n")
    with pytest.raises(RejectedRows, match="1 row cannot be read") as caught:
        taken(path)
    (fault,) = caught.value.faults
    assert (fault.line, fault.column) == (5, column)
    assert reason in fault.reason
    assert len(taken(path, accept_rest=True).bearings) == 3


def test_questions_are_asked_before_anything_is_read(tmp_path):
    path = table(tmp_path, "Place,Angle one,Angle two\nSofa,10,100\n")
    mapping = guess_columns(path, BEARINGS)
    assert "which one is it?" in mapping.questions()[0]
    with pytest.raises(InputError, match="no column was recognised"):
        import_bearings(path, mapping, CONTEXT, confirmed=True)
    settled = guessed_bearings(path, Corrections(["Angle one=strongest", "Angle two=null"]))
    assert settled.questions() == ()
    assert "clockwise from plan north" in settled.describe()
    with pytest.raises(TooEarlyError, match="confirmed"):
        import_bearings(path, settled, CONTEXT, confirmed=False)
    (one,) = import_bearings(path, settled, CONTEXT, confirmed=True).bearings
    assert (one.strongest_deg, one.null_deg) == (10.0, 100.0)
    with pytest.raises(UnknownNameError, match="Angel"):
        guessed_bearings(path, Corrections(["Angel=null"]))
    with pytest.raises(UnknownNameError, match="sideways"):
        guessed_bearings(path, Corrections(["Angle one=sideways"]))
    with pytest.raises(InputError, match="not understood"):
        guessed_bearings(path, Corrections(["Angle one"]))
    other = table(tmp_path, "Place,Angle one,Angle two\nSofa,11,100\n", "c.csv")
    with pytest.raises(InputError, match="not the one"):
        import_bearings(other, settled, CONTEXT, confirmed=True)


def test_into_the_record_once(tmp_path):
    store = open_store(str(tmp_path / "r.sqlite"))
    store.create(SURVEY)
    job, path = open_job(str(tmp_path / "r.sqlite")), table(tmp_path, LONG)
    mapping = guessed_bearings(path)
    assert mapping.first(BearingColumn.KIND).index == 4
    with pytest.raises(InputError, match="radio state"):
        take_bearings(job, path, mapping, Circumstances(FIRST.id), confirmed=True)
    given = Circumstances(FIRST.id, state_id=FIRST.radio_states[0].id)
    assert len(take_bearings(job, path, mapping, given, confirmed=True).bearings) == 3
    kept = job.again().survey
    assert len(kept.bearings) == 3
    (item,) = (one for one in kept.media if one.file_name == path.name)
    assert item.sha256 == kept.bearings[0].origin.file_sha256
    assert store.media.path(item.sha256).read_bytes() == path.read_bytes()
    with pytest.raises(InputError, match="taken in before"):
        take_bearings(job.again(), path, mapping, given, confirmed=True)
    empty = table(tmp_path, "Place,Bearing,Kind\n", "e.csv")
    with pytest.raises(InputError, match="no bearing"):
        take_bearings(job, empty, guessed_bearings(empty), given, confirmed=True)


@pytest.mark.calculated("plane wave: S = E² / Z0, Z0 = 376.73 ohm")
def test_a_level_is_read_in_the_unit_of_its_heading(tmp_path):
    (one,) = taken(table(tmp_path, "Place;Strongest deg;Level [V/m]\nSofa;10,5;0,2\n")).bearings
    assert one.strongest_deg == 10.5
    assert one.strongest_w_m2 == pytest.approx(0.2**2 / 376.73, rel=1e-4)
    asked = guess_columns(table(tmp_path, "Place;Strongest;Level [furlong]\nSofa;10;1\n", "u.csv"), BEARINGS)
    assert "unknown unit 'furlong'" in asked.questions()[0]


def test_an_unclear_decimal_sign_is_asked_and_settled(tmp_path):
    path = table(tmp_path, "Place;Strongest;Frequency\nSofa;10;2,450\n")
    assert "decimal sign" in guessed_bearings(path).questions()[0]
    settled = guessed_bearings(path, Corrections(decimal=".", grouped=True))
    (one,) = import_bearings(path, settled, CONTEXT, confirmed=True).bearings
    assert one.note == "2450 MHz"
