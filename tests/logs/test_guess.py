"""Guessing which column is what, and refusing to guess silently."""

from __future__ import annotations

import pytest

from roomfield.errors import FormatError, InputError, TooEarlyError, UnknownNameError
from roomfield.logs import Mapping, guess_mapping, ingest

HEADINGS = [
    ("timestamp,average uW/m2\n2026-03-01T00:00:00Z,1.5\n2026-03-01T00:00:01Z,2\n", "uW/m2", "", "average", "."),
    (
        "Zeit (UTC);Leistungsdichte Spitze [µW/m²]\n01.03.2026 00:00:00;1,5\n14.03.2026 00:00:01;2,25\n",
        "uW/m2",
        "UTC",
        "peak",
        ",",
    ),
    (
        "Date\tTime (GMT)\tMax Hold (mW/m^2)\n2026-03-01\t00:00:00\t0.5\n2026-03-01\t00:00:01\t0.6\n",
        "mW/m2",
        "UTC",
        "highest_held",
        ".",
    ),
    ("epoch,E mean (V/m)\n1767225600,0.5\n1767225601,0.6\n", "V/m", "", "average", "."),
    (
        "time_utc,rx level dBm\n2026-03-01 00:00:00+00:00,-60\n2026-03-01 00:00:01+00:00,-61\n",
        "dBm",
        "",
        "unknown",
        ".",
    ),
    (
        "when,avg_uW_m2,battery V\n2026-03-01T00:00:00+01:00,12.5,3.7\n2026-03-01T00:00:01+01:00,13,3.7\n",
        "uW/m2",
        "",
        "average",
        ".",
    ),
    ("time,level,unit\n2026-03-01T00:00:00Z,-60,dBm\n2026-03-01T00:00:01Z,-61,dBm\n", "dBm", "", "unknown", "."),
    ("time,mean level\n2026-03-01T00:00:00Z,12.5 µW/m²\n2026-03-01T00:00:01Z,13 µW/m²\n", "uW/m2", "", "average", "."),
]


@pytest.mark.parametrize(("text", "unit", "zone", "kind", "decimal"), HEADINGS)
def test_what_the_headings_say_is_found(written, text, unit, zone, kind, decimal):
    mapping = guess_mapping(written(text))
    assert (mapping.unit, mapping.zone, mapping.kind, mapping.decimal) == (unit, zone, kind, decimal)
    assert not mapping.questions
    shown = {guess.what: guess for guess in mapping.guesses}
    assert f"unit: {unit} (from " in mapping.describe()
    assert shown["unit"].evidence and 0 < shown["unit"].confidence <= 1


def test_lines_above_the_heading_are_passed_over_and_read(written):
    text = "Meter 4711\nUnit: uW/m2; clock UTC+1\n\ntime;mean level\n01.03.2026 00:00:00;1,5\n13.03.2026 00:00:01;2,5\n"
    mapping = guess_mapping(written(text))
    assert mapping.layout.columns == ("time", "mean level")
    assert (mapping.zone, mapping.unit, mapping.kind) == ("+1", "uW/m2", "average")
    assert {g.what: g.confidence for g in mapping.guesses}["unit"] < 1


def test_a_table_without_headings_gets_numbered_columns(written):
    mapping = guess_mapping(written("2026-03-01T00:00:00Z;1.5\n2026-03-01T00:00:01Z;2.5\n"))
    assert mapping.time_columns == ("column 1",)
    assert mapping.value_column == "column 2"
    assert [q.what for q in mapping.questions] == ["unit", "kind"]


def test_day_and_month_that_could_be_either_are_asked_for(written):
    mapping = guess_mapping(written("time UTC,average uW/m2\n03/04/2026 00:00:00,1\n03/04/2026 00:00:01,2\n"))
    assert [q.what for q in mapping.questions] == ["time_form"]
    assert {choice[:8] for choice in mapping.questions[0].choices} == {"%d/%m/%Y", "%m/%d/%Y"}
    later = guess_mapping(written("time UTC,average uW/m2\n03/04/2026 00:00:00,1\n03/14/2026 00:00:01,2\n"))
    assert later.time_form.startswith("%m/%d/%Y %H:%M:%S")
    assert not later.questions


def test_two_likely_level_columns_are_asked_about(written):
    mapping = guess_mapping(written("time,avg uW/m2,peak uW/m2\n2026-03-01T00:00:00Z,1,5\n2026-03-01T00:00:01Z,2,6\n"))
    assert [q.what for q in mapping.questions] == ["value_column"]
    assert mapping.confirm(value_column="peak uW/m2", kind="peak").value_column == "peak uW/m2"


def test_a_decimal_comma_that_could_part_thousands_is_asked_about(written):
    mapping = guess_mapping(written("time;average uW/m2\n2026-03-01T00:00:00Z;1,234\n2026-03-01T00:00:01Z;999\n"))
    assert [q.what for q in mapping.questions] == ["decimal"]


def test_an_unconfirmed_question_stops_the_ingest_and_leaves_nothing(written, tmp_path):
    path = written("time,average uW/m2\n2026-03-01 00:00:00,1\n2026-03-01 00:00:01,2\n")
    mapping = guess_mapping(path)
    assert [q.what for q in mapping.questions] == ["zone"]
    with pytest.raises(TooEarlyError, match=r"time zone.*confirm"):
        ingest(path, mapping, tmp_path / "store")
    assert not (tmp_path / "store").exists()
    with pytest.raises(TooEarlyError, match=r"confirm\(zone"):
        mapping.confirm()
    assert ingest(path, mapping.confirm(zone="Europe/Zurich"), tmp_path / "store").start.hour == 23


def test_answers_that_name_nothing_are_refused(written):
    mapping = guess_mapping(written("time,average uW/m2\n2026-03-01 00:00:00,1\n2026-03-01 00:00:01,2\n"))
    with pytest.raises(UnknownNameError, match="Mars"):
        mapping.confirm(zone="Mars/Olympus")
    with pytest.raises(UnknownNameError, match="column"):
        mapping.confirm(zone="UTC", value_column="power")
    with pytest.raises(UnknownNameError, match="kind"):
        mapping.confirm(zone="UTC", kind="typical")
    with pytest.raises(InputError, match="furlong"):
        mapping.confirm(zone="UTC", unit="furlong")
    with pytest.raises(UnknownNameError, match="field of a mapping"):
        mapping.confirm(zone="UTC", colour="red")


def test_a_mapping_survives_json(written):
    mapping = guess_mapping(written(HEADINGS[1][0])).confirm(floor=0.5)
    again = Mapping.from_dict(mapping.to_dict())
    assert again == mapping
    assert again.fingerprint() == mapping.fingerprint()
    assert mapping.confirm(floor=0.6).fingerprint() != mapping.fingerprint()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "empty"),
        ("only one column\n1\n2\n", "two columns"),
        ("name,colour\nfoo,red\nbar,blue\n", "no row of values"),
        ("time,note\n2026-03-01T00:00:00Z,fine\n2026-03-01T00:00:01Z,fine\n", "no column of numbers"),
        ("place,avg uW/m2\nbed 1,1.5\nbed 2,2.5\n", "no column of time stamps"),
    ],
)
def test_what_is_no_log_is_refused_in_one_sentence(written, text, message):
    with pytest.raises(FormatError, match=message):
        guess_mapping(written(text))


def test_bytes_that_are_no_text_are_refused(tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(b"\x00\x01\x02" * 100)
    with pytest.raises(FormatError, match="no text"):
        guess_mapping(path)
    with pytest.raises(FormatError, match="no such file"):
        guess_mapping(tmp_path / "absent.csv")


def test_importing_the_package_loads_no_engine():
    import subprocess
    import sys

    code = (
        "import roomfield.logs, sys; print([m for m in ('duckdb', 'numba', 'pyarrow', 'pandas') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_every_name_offered_is_there_and_no_module_hides_one():
    import roomfield.logs as logs

    for name in logs.__all__:
        assert callable(getattr(logs, name)), name
        assert getattr(logs, name).__module__.startswith("roomfield.logs."), name
    with pytest.raises(AttributeError):
        logs.no_such_name  # noqa: B018
