"""Tables that are hostile, damaged or of the wrong kind are refused with one sentence."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import openpyxl
import pytest

from roomfield.errors import FormatError, InputError
from roomfield.table_files import table_reader, workbook
from roomfield.table_files.table_reader import read_table
from roomfield.table_files.text_form import guess_separator
from roomfield.table_files.workbook import column_number


def test_separators_with_every_kind_of_line_end():
    for end in ("\n", "\r\n", "\r"):
        assert guess_separator(end.join(["a;b;c", "1,5;2,5;3", '"x;y";2;3'])) == ";"


def test_rows_of_different_length_are_kept(tmp_path: Path):
    path = tmp_path / "a.csv"
    path.write_text("a,b\n1\n\n1,2,3\n")
    read = read_table(path)
    assert [list(row) for row in read.rows] == [["a", "b"], ["1"], [], ["1", "2", "3"]]
    assert list(read.lines) == [1, 2, 3, 4]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\x00\x01\x02\x03" * 50, "no text"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "workbook of the old form"),
        (b"PK\x03\x04 and then nothing", "no readable workbook"),
        (b"a,b\n" + b'"' + b"x" * 200_000, "cannot be split into cells"),
        (b"a," * 300 + b"\n", "more than"),
    ],
)
def test_what_is_no_table(tmp_path: Path, content: bytes, words: str):
    path = tmp_path / "odd.csv"
    path.write_bytes(content)
    with pytest.raises(FormatError, match=words) as caught:
        read_table(path)
    assert str(caught.value).startswith("odd.csv: ")
    assert "\n" not in str(caught.value)


def test_a_missing_file_is_named(tmp_path: Path):
    with pytest.raises(InputError, match=r"gone.csv: it cannot be read"):
        read_table(tmp_path / "gone.csv")


def test_a_zip_that_is_no_workbook(tmp_path: Path):
    path = tmp_path / "a.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("hello.txt", "hello")
    with pytest.raises(FormatError, match="no readable workbook"):
        read_table(path)


def test_too_long_a_file_is_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = tmp_path / "a.csv"
    path.write_text("a,b\n" * 100)
    monkeypatch.setattr(table_reader, "MOST_BYTES", 100)
    with pytest.raises(FormatError, match="longer than"):
        read_table(path)


def test_too_many_rows_are_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = tmp_path / "a.csv"
    path.write_text("a,b\n" * 100)
    monkeypatch.setattr(table_reader, "MOST_ROWS", 50)
    with pytest.raises(FormatError, match="more than"):
        read_table(path)


def saved(book: openpyxl.Workbook) -> bytes:
    memory = io.BytesIO()
    book.save(memory)
    return memory.getvalue()


@pytest.mark.parametrize("cell", ["A1048576", "ZZZ1", "XFD1048576", "GS200000"])
def test_one_cell_far_out_is_refused_before_the_sheet_is_laid_out(tmp_path: Path, cell: str):
    book = openpyxl.Workbook()
    book.active["A1"] = "place"
    xml_name = "xl/worksheets/sheet1.xml"
    with zipfile.ZipFile(io.BytesIO(saved(book))) as source:
        files = {name: source.read(name) for name in source.namelist()}
    row = "".join(c for c in cell if c.isdigit())
    far = f"<row r='{row}'><c r='{cell}'><v>1</v></c></row></sheetData>".encode()
    files[xml_name] = files[xml_name].replace(b"</sheetData>", far)
    path = tmp_path / "far.xlsx"
    with zipfile.ZipFile(path, "w") as target:
        for name, content in files.items():
            target.writestr(name, content)
    with pytest.raises(FormatError, match=r"more than 1000000 rows, 200 columns"):
        read_table(path)


def test_a_workbook_that_unpacks_to_too_much_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b" " * (8 << 20))
    assert path.stat().st_size < 20_000
    monkeypatch.setattr(workbook, "MOST_BYTES", 2 << 20)
    with pytest.raises(FormatError, match="longer than 4 MiB"):
        read_table(path)


@pytest.mark.published("ECMA-376 part 1, 18.3.1.4: columns A, Z, AA, XFD (the last); letters count in base 26")
@pytest.mark.parametrize(("name", "number"), [(b"A", 1), (b"Z", 26), (b"AA", 27), (b"XFD", 16384)])
def test_column_numbers(name: bytes, number: int):
    assert column_number(name) == number
