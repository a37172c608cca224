"""Columns are guessed with a reason, and what cannot be told is asked, never assumed."""

from __future__ import annotations

from pathlib import Path

import pytest

from roomfield.errors import FormatError, InputError, UnknownNameError
from roomfield.survey.reading_columns import FIELD_SHEET, ReadingColumn
from roomfield.table_files.column_guess import guess_columns, meaning_of


@pytest.fixture
def write(tmp_path: Path):
    def to_file(text: str, name: str = "walk.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        path.write_bytes(text.encode(encoding))
        return path

    return to_file


@pytest.mark.parametrize(
    ("header", "column", "unit"),
    [
        ("Peak [µW/m²]", ReadingColumn.PEAK, "uW/m2"),
        ("Peak [\u03bcW/m²]", ReadingColumn.PEAK, "uW/m2"),
        ("peak (uW/m2)", ReadingColumn.PEAK, "uW/m2"),
        ("PEAK uW/m^2", ReadingColumn.PEAK, "uW/m2"),
        ("peak_uw_m2", ReadingColumn.PEAK, "uW/m2"),
        ("Max-Hold in mW/m²", ReadingColumn.HIGHEST_HELD, "mW/m2"),
        ("max_uw_m2", ReadingColumn.HIGHEST_HELD, "uW/m2"),
        ("Mittelwert [W/m2]", ReadingColumn.AVERAGE, "W/m2"),
        ("avg µW/cm²", ReadingColumn.AVERAGE, "uW/cm2"),
        ("Field strength [V/m]", ReadingColumn.VALUE, "V/m"),
        ("E dBµV/m", ReadingColumn.VALUE, "dBuV/m"),
        ("Level [dBm/m²]", ReadingColumn.VALUE, "dBm/m2"),
        ("µW/m²", ReadingColumn.VALUE, "uW/m2"),
        ("Messwert", ReadingColumn.VALUE, ""),
        ("Place", ReadingColumn.PLACE, ""),
        ("Messort", ReadingColumn.PLACE, ""),
        ("RADIO_STATE", ReadingColumn.STATE, ""),
        ("Datum/Uhrzeit", ReadingColumn.MOMENT, ""),
        ("x [m]", ReadingColumn.X, ""),
        ("Flags", ReadingColumn.FLAG, ""),
        ("weather", ReadingColumn.UNUSED, ""),
        ("", ReadingColumn.UNUSED, ""),
    ],
)
def test_headers(header: str, column: ReadingColumn, unit: str):
    meaning = meaning_of(header)
    assert (meaning.column, meaning.unit) == (column, unit)


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_header_of_the_field_sheet_is_recognised(language: str):
    for printed in FIELD_SHEET:
        meaning = meaning_of(printed.header(language))
        assert (meaning.column, meaning.unit) == (printed.column, printed.unit)
    assert sum(printed.share for printed in FIELD_SHEET) == pytest.approx(1.0)


def test_the_field_sheet_reads_itself_without_a_question(write):
    header = ";".join(printed.header("de") for printed in FIELD_SHEET)
    mapping = guess_columns(write(f"{header}\nBett;Router an;beste Achse;12,5;9,5;2,25;;10:15;\n"))
    assert mapping.questions() == ()
    assert mapping.decimal == ","


def test_it_says_what_it_guessed_and_from_what(write):
    mapping = guess_columns(write("Place;Peak [µW/m²];weather\nBed;12,5;rain\nDesk;1,25;sun\n"))
    assert mapping.describe().splitlines() == [
        "walk.csv: 2 rows below the headers in line 1 (utf-8, cells parted by ';')",
        "  column 1 'Place': place (header 'Place'); for example Bed, Desk",
        "  column 2 'Peak [µW/m²]': peak in uW/m2 (header 'Peak [µW/m²]', unit uW/m2); for example 12,5, 1,25",
        "  column 3 'weather': unused (the header is not known); for example rain, sun",
        "  decimal sign: , (values such as 1,25)",
    ]


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_separators(write, separator: str):
    rows = [["place", "peak uW/m2", "avg uW/m2"], ["bed, left" if separator == ";" else "bed", "1.5", "0.5"]]
    mapping = guess_columns(write("\n".join(separator.join(row) for row in rows * 3)))
    assert mapping.separator == separator
    assert [m.column for m in mapping.columns] == [ReadingColumn.PLACE, ReadingColumn.PEAK, ReadingColumn.AVERAGE]


def test_decimal_commas_do_not_pass_for_separators(write):
    text = "Ort;Spitzenwert [µW/m²];Mittelwert [µW/m²]\n" + "Bett;12,5;3,25\n" * 5
    assert guess_columns(write(text)).separator == ";"


@pytest.mark.parametrize(
    ("encoding", "found"),
    [("utf-8", "utf-8"), ("utf-8-sig", "utf-8-sig"), ("cp1252", "cp1252"), ("utf-16", "utf-16")],
)
def test_encodings(write, encoding: str, found: str):
    mapping = guess_columns(write("Ort;Spitze [µW/m²]\nKüche;1,5\n", encoding=encoding))
    assert mapping.encoding == found
    assert mapping.columns[1].unit == "uW/m2"
    assert mapping.columns[0].example == "Küche"


def test_lines_above_the_headers_are_passed_over(write):
    text = "Survey of the flat\n\nMeter: invented;;\nPlace;Peak [µW/m²]\nBed;1.5\n"
    mapping = guess_columns(write(text))
    assert mapping.header_line == 4
    assert mapping.rows == 1


def test_a_row_over_several_lines_keeps_its_line_number(write):
    mapping = guess_columns(write('"a note\nover two lines",x\nplace,peak uW/m2\nbed,1.5\n'))
    assert mapping.header_line == 3


@pytest.mark.parametrize(
    ("values", "sign", "grouped"),
    [
        (["12.5", "0.125"], ".", False),
        (["12,5", "1200"], ",", False),
        (["0,125"], ",", False),
        (["1.234,5", "12"], ",", True),
        (["1,234.5", "12"], ".", True),
        (["1200", "7"], ".", False),
        (["<0,01", ">2500000"], ",", False),
        (["1,2345"], ",", False),
    ],
)
def test_decimal_sign(write, values: list[str], sign: str, grouped: bool):
    mapping = guess_columns(write("place;peak uW/m2\n" + "".join(f"bed;{value}\n" for value in values)))
    assert (mapping.decimal, mapping.grouped) == (sign, grouped)
    assert mapping.questions() == ()


@pytest.mark.parametrize("value", ["1,234", "1.234", "12.345"])
def test_a_thousand_or_one_point_two_is_asked(write, value: str):
    mapping = guess_columns(write(f"place;peak uW/m2\nbed;{value}\ndesk;12\n"))
    (question,) = mapping.questions()
    assert value in question
    assert "group thousands" in question
    assert mapping.with_decimal(",").questions() == ()


@pytest.mark.parametrize(
    ("dates", "order"),
    [
        (["2026-02-01"], "ymd"),
        (["13/02/2026", "01/02/2026"], "dmy"),
        (["02/13/2026", "01/02/2026"], "mdy"),
        (["01.02.2026"], "dmy"),
        (["2026/02/01"], "ymd"),
    ],
)
def test_dates_that_can_be_told(write, dates: list[str], order: str):
    mapping = guess_columns(write("place;date;peak uW/m2\n" + "".join(f"bed;{d};1\n" for d in dates)))
    assert mapping.date_order == order
    assert mapping.questions() == ()
    assert dates[-1] in mapping.date_because or dates[0] in mapping.date_because


@pytest.mark.parametrize(
    "dates", [["01/02/2026"], ["01-02-2026"], ["03/04/26", "05/06/26"], ["13/02/2026", "02/13/2026"]]
)
def test_dates_that_cannot_be_told_are_asked(write, dates: list[str]):
    mapping = guess_columns(write("place;date;peak uW/m2\n" + "".join(f"bed;{d};1\n" for d in dates)))
    assert mapping.date_order == ""
    (question,) = mapping.questions()
    assert any(date in question for date in dates)
    with pytest.raises(InputError, match="which order"):
        mapping.refuse_if_open()
    assert mapping.with_dates("mdy").questions() == ()


@pytest.mark.parametrize(
    ("headers", "words"),
    [
        ("place;peak", "names no unit"),
        ("place;peak [furlong]", "unknown unit 'furlong'"),
        ("place;peak and average [uW/m2]", "peak, highest held or average, or not to be used"),
        ("place;value [uW/m2]", "no column says whether a value is peak"),
        ("peak [uW/m2];weather", "no column names the place"),
        ("place;peak [uW/m2];pk [uW/m2]", "2 columns are taken as peak"),
        ("place;ort;peak [uW/m2]", "2 columns are taken as place"),
        ("place;weather", "no column was recognised that holds values"),
        ("place;peak [uW/m2];value [uW/m2];kind", "which are to be used"),
    ],
)
def test_what_is_missing_or_doubled_is_asked(write, headers: str, words: str):
    mapping = guess_columns(write(headers + "\nbed;1;2;3\n"))
    assert any(words in question for question in mapping.questions())
    assert "open: " in mapping.describe()


def test_the_user_settles_what_is_open(write):
    mapping = guess_columns(write("spot on plan;strength\nbed;1\n"))
    settled = mapping.with_column("spot on plan", "place").with_column("strength", ReadingColumn.HIGHEST_HELD, "mW/m²")
    assert settled.questions() == ()
    assert settled.columns[1].unit == "mW/m2"
    assert settled.columns[1].because == "chosen by you"
    assert settled.with_column("strength", "peak").columns[1].unit == "mW/m2"


@pytest.mark.parametrize(
    "wrong",
    [
        lambda m: m.with_column("nowhere", "place"),
        lambda m: m.with_column("place", "throne"),
        lambda m: m.with_column("place", "peak", "furlong"),
        lambda m: m.with_dates("dym"),
        lambda m: m.with_decimal(";"),
    ],
)
def test_wrong_choices_name_the_right_ones(write, wrong):
    mapping = guess_columns(write("place;peak uW/m2\nbed;1\n"))
    with pytest.raises(UnknownNameError, match="Choose one of"):
        wrong(mapping)


@pytest.mark.parametrize("text", ["", "\n\n", " ; ; \n"])
def test_an_empty_file_is_refused(write, text: str):
    with pytest.raises(FormatError, match=r"walk.csv: it holds no table"):
        guess_columns(write(text))


def test_units_in_a_line_below_the_headers(write):
    mapping = guess_columns(write("Place;Peak;Average;Note\n;[µW/m²];(mW/m²);\nBed;12;0,5;x\n"))
    assert [m.unit for m in mapping.columns] == ["", "uW/m2", "mW/m2", ""]
    assert mapping.columns[1].because == "header 'Peak', unit uW/m2 in the line below"
    assert (mapping.header_line, mapping.rows) == (2, 1)
    assert mapping.questions() == ()


def test_columns_of_one_header_can_be_told_apart(write):
    mapping = guess_columns(write("place;peak uW/m2;peak uW/m2;\nbed;1;2;3\n"))
    assert [m.header for m in mapping.columns] == [
        "place", "peak uW/m2 (column 2)", "peak uW/m2 (column 3)", "(column 4)",
    ]  # fmt: skip
    assert mapping.with_column("peak uW/m2 (column 3)", "unused", "").questions() == ()


@pytest.mark.parametrize("value", ["1,234", "12.345"])
def test_the_decimal_sign_is_asked_too_if_no_header_was_known(write, value: str):
    mapping = guess_columns(write(f"place;strength;remark\nbed;{value};1.234 is odd\n"))
    settled = mapping.with_column("strength", "peak", "uW/m2")
    assert any("group thousands" in question for question in settled.questions())


def test_a_date_column_named_by_the_user_is_asked_about(write):
    mapping = guess_columns(write("place;when it was;peak uW/m2\nbed;01/02/2026;1\n"))
    (question,) = mapping.with_column("when it was", "date").questions()
    assert "which order" in question


@pytest.mark.parametrize(
    ("text", "columns", "rows"),
    [
        (
            "Place;Level;;Remarks\n;peak [µW/m²];average [µW/m²];\nBed;340;11;x\n",
            ["place", "peak", "average", "note"],
            1,
        ),
        ("Ort;Messwert [µW/m²];;Notiz\n;Spitze;Mittelwert;\nBett;340;11;x\n", ["place", "peak", "average", "note"], 1),
        ("place;note;peak [µW/m²]\nBed;tall;\nDesk;low;3\n", ["place", "note", "peak"], 2),
        ("place;peak [µW/m²]\nBed;< 3\n", ["place", "peak"], 1),
    ],
)
def test_headings_over_two_lines_are_joined_and_rows_are_not(tmp_path, text, columns, rows):
    (tmp_path / "t.csv").write_text(text, "utf-8")
    mapping = guess_columns(tmp_path / "t.csv")
    assert [str(c.column) for c in mapping.columns] == columns
    assert mapping.rows == rows
