from __future__ import annotations

import re
import unicodedata
from dataclasses import replace
from pathlib import Path

import pikepdf
import pypdfium2 as pdfium
import pytest

from roomfield.errors import StoreError
from roomfield.report import field_sheet
from roomfield.report.render.field_sheet import SheetOrder, sheet_headers
from roomfield.show.words import Words
from roomfield.survey.reading_columns import FIELD_SHEET
from roomfield.table_files.column_guess import meaning_of

ROWS = tuple((f"Place {n}", state) for n in range(1, 13) for state in ("As found", "Router off"))
ORDER = SheetOrder("s-1", "Home", ROWS, (("As found", ""), ("Router off", "router")), "A. Sample", "Q-1", 0.3)


def pages(made: bytes) -> list[str]:
    pdf = pdfium.PdfDocument(made)
    return [re.sub(r"[\s\ufffe]", "", unicodedata.normalize("NFKC", p.get_textpage().get_text_bounded())) for p in pdf]


def squeezed(text: str) -> str:
    return re.sub(r"\s", "", unicodedata.normalize("NFKC", text))


@pytest.mark.parametrize("language", ["en", "de"])
def test_every_printed_header_is_recognised_by_the_import(language: str) -> None:
    for column, header in zip(FIELD_SHEET, sheet_headers(language), strict=True):
        meaning = meaning_of(header)
        assert meaning.column is column.column
        assert meaning.unit == column.unit


def test_headers_stand_on_every_page_with_all_places(words: Words) -> None:
    text = pages(field_sheet(ORDER, language=words.language))
    assert len(text) >= 3
    for page in text[:-1]:  # the last one is for what is done with the sound
        for header in sheet_headers(words.language):
            assert squeezed(header) in page
    whole = "".join(text)
    for place, _ in ROWS:
        assert whole.count(squeezed(place)) >= 2


def test_sheet_tells_how_to_write_censored_values(words: Words) -> None:
    text = "".join(pages(field_sheet(ORDER, language=words.language)))
    assert squeezed(words.say("sheet.hint")) in text
    assert "<0" in text
    assert ">2500000" in text


@pytest.mark.published("ISO 14289-1:2014, 5 and 7.1 (from memory)")
def test_sheet_is_accessible_and_archival(tmp_path: Path) -> None:
    field_sheet(ORDER, tmp_path / "s.pdf", language="de")
    with pikepdf.open(tmp_path / "s.pdf") as pdf:
        assert str(pdf.Root.Lang) == "de"
        with pdf.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as meta:
            assert meta["pdfuaid:part"] == "1"
            assert meta.pdfa_status == "2A"
        wide = [tuple(round(float(v)) for v in p.MediaBox) for p in pdf.pages]
    assert set(wide) == {(0, 0, 842, 595)}


def test_sheet_without_anything_printed_in_advance_is_blank_rows() -> None:
    text = pages(field_sheet(SheetOrder("s", "t", blank_rows=30), language="en"))
    assert len(text) == 3


def test_the_last_page_has_lines_for_a_night_on_the_cable_and_for_coached_scans(words: Words) -> None:
    last = pages(field_sheet(ORDER, language=words.language))[-1]
    for key in ("night", "counter", "mark_evening", "mark_morning", "reset", "scan", "spots", "turned", "missing"):
        assert squeezed(words.say(f"sheet.{key}")) in last
    for part in ("evening", "morning"):
        assert squeezed(words.say(f"sheet.{part}")) + "3" in last
    without = pages(field_sheet(replace(ORDER, with_sound=False), language=words.language))
    assert squeezed(words.say("sheet.night")) not in "".join(without)


def test_user_text_and_invented_mark(words: Words) -> None:
    order = SheetOrder("s", '#import "x" <b>', (("*a* 👶", "$s$"),), invented=True)
    text = "".join(pages(field_sheet(order, language=words.language)))
    assert squeezed('#import "x" <b>') in text
    assert "*a*[baby]" in text
    assert squeezed(words.say("document.invented_banner")) in text


def test_same_order_gives_the_same_bytes_and_bad_path_writes_nothing(tmp_path: Path) -> None:
    assert field_sheet(ORDER, language="en") == field_sheet(ORDER, language="en")
    with pytest.raises(StoreError):
        field_sheet(ORDER, tmp_path / "no" / "s.pdf", language="en")
