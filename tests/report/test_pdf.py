from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import unicodedata
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import Any

import pikepdf
import pypdfium2 as pdfium
import pytest

from roomfield.errors import FormatError, StoreError, UnknownNameError
from roomfield.quantities.kind import Kind
from roomfield.report import Part, render_pdf
from roomfield.report.document import ReportContent
from roomfield.report.render.pdf import set_page
from roomfield.report.render.plain import _ranges, displayable, named, plain, strictly_plain
from roomfield.show.findings import Level, PlaceFinding, PlaceLevel
from roomfield.show.words import Words

HOSTILE = '#import "x": * $a$ *b* _c_ `d` @e <f> \\u{41} [g] //h /*i*/ ~ = j'


@pytest.fixture(scope="session")
def file(sample: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("pdf") / "full.pdf"
    render_pdf(sample.full(), path, language="de")
    return path


def pages(made: bytes, tmp_path: Path) -> list[str]:
    path = tmp_path / "made.pdf"
    path.write_bytes(made)
    return texts(path)


def texts(path: Path) -> list[str]:
    pdf = pdfium.PdfDocument(path)
    found = [unicodedata.normalize("NFKC", page.get_textpage().get_text_bounded()) for page in pdf]
    pdf.close()
    return found


def squeezed(text: str) -> str:
    """Text without the spaces and hyphens that line breaking moves about."""
    return re.sub(r"[\s\u00ad\u200b\u202f\ufffe\x02\-]", "", text)


def structure(node: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    if isinstance(node, pikepdf.Array):
        for child in node:
            yield from structure(child, path)
    elif isinstance(node, pikepdf.Dictionary):
        here = (*path, str(node.S)) if "/S" in node else path
        if "/S" in node:
            yield here, node
        if "/K" in node and not isinstance(node.K, int):
            yield from structure(node.K, here)


@pytest.mark.published("ISO 19005-2:2011, 6.6.4: PDF/A identification; ISO 14289-1:2014, 5: PDF/UA identification")
def test_claims_are_in_the_metadata(file: Path) -> None:
    with pikepdf.open(file) as pdf, pdf.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as meta:
        assert meta["pdfaid:part"] == "2"
        assert meta["pdfaid:conformance"] == "A"
        assert meta["pdfuaid:part"] == "1"
        assert meta["dc:title"] == "Home of the Example family"
        assert meta.pdfa_status == "2A"


@pytest.mark.published(
    "ISO 19005-2:2011, 6.2.3 output intent, 6.1.3 no encryption, 6.5.1 actions, 6.7.2 marked content (from memory)"
)
def test_archival_requirements(file: Path) -> None:
    with pikepdf.open(file) as pdf:
        assert not pdf.is_encrypted
        assert bool(pdf.Root.MarkInfo.Marked) is True
        intent = pdf.Root.OutputIntents[0]
        assert str(intent.S) == "/GTS_PDFA1"
        assert len(intent.DestOutputProfile.read_bytes()) > 300
        assert "/JavaScript" not in pdf.Root.get("/Names", {})
        assert "/AA" not in pdf.Root
        assert "/OpenAction" not in pdf.Root
        kinds = {str(o.get("/S")) for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and "/S" in o}
        assert not kinds & {"/JavaScript", "/Launch", "/Movie", "/Sound", "/ImportData", "/ResetForm"}


@pytest.mark.published("ISO 19005-2:2011, 6.2.11.4 embedded fonts, 6.2.11.7 Unicode maps (from memory)")
def test_every_font_is_embedded_and_maps_to_unicode(file: Path) -> None:
    with pikepdf.open(file) as pdf:
        fonts = [o for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and o.get("/Subtype") == "/Type0"]
        assert len(fonts) >= 3
        for font in fonts:
            assert "/ToUnicode" in font
            descriptor = font.DescendantFonts[0].FontDescriptor
            assert {"/FontFile2", "/FontFile3"} & set(descriptor.keys())
        names = " ".join(str(f.BaseFont) for f in fonts)
        assert "SourceSansPro" in names
        assert "SourceSerifPro" in names


@pytest.mark.published(
    "ISO 14289-1:2014, 7.1 language and title, 7.3 alternatives for figures, 7.5 tables (from memory)"
)
def test_accessibility_structure(file: Path) -> None:
    with pikepdf.open(file) as pdf:
        assert str(pdf.Root.Lang) == "de"
        assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle) is True
        nodes = list(structure(pdf.Root.StructTreeRoot))
        figures = [node for path, node in nodes if path[-1] == "/Figure" and "/Alt" in node]
        assert len(figures) == 16  # one of them a photo
        assert all(len(str(node.Alt)) > 30 for node in figures)
        bare = [node for path, node in nodes if path[-1] == "/Figure" and "/Alt" not in node]
        assert len(bare) <= len(figures)
        tables = [path for path, _ in nodes if path[-1] == "/Table"]
        heads = [path for path, _ in nodes if path[-1] == "/TH"]
        assert len(tables) >= 15
        assert len(heads) > len(tables)


@pytest.mark.published("ISO 14289-1:2014, 7.4.2: heading levels are not skipped (from memory)")
def test_heading_levels_are_not_skipped(file: Path) -> None:
    with pikepdf.open(file) as pdf:
        levels = [int(p[-1][2:]) for p, _ in structure(pdf.Root.StructTreeRoot) if re.fullmatch(r"/H\d", p[-1])]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_text_in_figures_is_text(file: Path) -> None:
    text = squeezed(" ".join(texts(file)))
    for label in ("Anzeigegrenze", "logarithmisch", "Children's room", "Minderung"):
        assert squeezed(unicodedata.normalize("NFKC", label)) in text


def test_same_content_gives_the_same_bytes_anywhere(sample: ModuleType, tmp_path: Path) -> None:
    here = render_pdf(sample.full(), language="en")
    assert render_pdf(sample.full(), language="en") == here
    script = (
        "import importlib.util, sys, hashlib\n"
        f"spec = importlib.util.spec_from_file_location('s', {str(Path(__file__).with_name('sample.py'))!r})\n"
        "m = importlib.util.module_from_spec(spec); spec.loader.exec_module(m)\n"
        "from roomfield.report import render_pdf\n"
        "sys.stdout.write(hashlib.sha256(render_pdf(m.full(), language='en')).hexdigest())"
    )
    env = {**os.environ, "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo", "LC_ALL": "C", "TMPDIR": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, env=env, cwd=tmp_path, check=True
    )
    assert done.stdout == hashlib.sha256(here).hexdigest()


def test_the_only_time_stamp_is_the_date_of_issue(sample: ModuleType) -> None:
    made = render_pdf(sample.content(issued_at="2031-07-08T09:10:11+02:00"), language="en")
    stamps = set(re.findall(rb"D:(\d{14})", made)) | set(re.findall(rb"(20\d\d-\d\d-\d\dT[\d:]{8})", made))
    assert stamps == {b"20310708071011", b"2031-07-08T07:10:11"}


def hostile(sample: ModuleType, text: str) -> ReportContent:
    content = sample.content(letter=sample.LETTER)
    place = replace(content.places[0], name=text, room=text, note=text)
    return replace(
        content,
        title=text,
        survey_id=text,
        places=(place, *content.places[1:]),
        parties=replace(content.parties, client=text, question=text, assessor=text),
        undetermined=(text,),
        readings=tuple(replace(r, note=text, place=text) for r in content.readings),
        storeys=(replace(content.storeys[0], name=text),),
        steps=tuple(replace(s, title=text) for s in content.steps),
        letter=replace(content.letter, addressee=text),
    )


@pytest.mark.parametrize("text", [HOSTILE, "<script>alert(1)</script> &amp; ]]>", '"; panic() "', "{{ x }} {% y %}"])
def test_user_text_is_data_never_markup(sample: ModuleType, tmp_path: Path, text: str) -> None:
    found = squeezed(" ".join(pages(render_pdf(hostile(sample, text), language="en"), tmp_path)))
    assert found.count(squeezed(unicodedata.normalize("NFKC", text))) >= 8


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("👶 cot", "[baby]cot"),
        ("漢字 bed", "[U+6F22][U+5B57]bed"),
        ("a\x07b\x00c", "a[U+0007]b[U+0000]c"),
        ("private \ue000", "private[U+E000]"),
        ("ไทย", "[thaicharactersaraaimaimalai]"),
        ("Ωmega Жук", "ΩmegaЖук"),
        ("e\u0301te\u0301", "été"),
        ("two\nlines\tand tab", "twolinesandtab"),
    ],
)
def test_what_the_fonts_lack_is_named_not_dropped(sample: ModuleType, tmp_path: Path, text: str, shown: str) -> None:
    found = squeezed(" ".join(pages(render_pdf(hostile(sample, text), language="de"), tmp_path)))
    assert squeezed(shown) in found


@pytest.mark.parametrize(
    "text", ["חדר ילדים", "غرفة الأطفال", "x\u0489\u0338\u0361", "🏠👩\u200d👧", "\u202eabc", "نَصٌّ"]
)
def test_other_scripts_and_stacked_marks_are_set(sample: ModuleType, text: str) -> None:
    made = render_pdf(hostile(sample, text), language="en")
    assert made.startswith(b"%PDF-1.7")


@pytest.mark.parametrize(
    "name", ["Donaudampfschifffahrtsgesellschaftskapitänskajütenbett" * 3, "very " * 60, "x" * 400]
)
def test_very_long_names_stay_inside_the_page(sample: ModuleType, tmp_path: Path, name: str) -> None:
    content = sample.content()
    places = tuple(replace(p, name=name, room=name) for p in content.places)
    text = pages(render_pdf(replace(content, places=places), language="de"), tmp_path)
    assert squeezed(name.strip()) in squeezed(" ".join(text))
    with pikepdf.open(tmp_path / "made.pdf") as pdf:
        assert {tuple(round(float(v)) for v in page.MediaBox) for page in pdf.pages} == {(0, 0, 595, 842)}


@pytest.mark.parametrize(("language", "banner"), [("en", "Demonstration: invented home"), ("de", "sind erfunden")])
def test_invented_data_are_marked_on_every_page(sample: ModuleType, tmp_path: Path, language: str, banner: str) -> None:
    marked = pages(render_pdf(sample.full(), language=language), tmp_path)
    assert all(banner in page for page in marked)
    plain_ = pages(render_pdf(sample.full(invented=False), language=language), tmp_path)
    assert not any(banner in page for page in plain_)


def test_every_page_has_survey_and_page_number(sample: ModuleType, tmp_path: Path) -> None:
    text = pages(render_pdf(sample.full(), language="en"), tmp_path)
    for number, page in enumerate(text, start=1):
        assert f"Page {number} of {len(text)}" in page
        assert "Survey demo-2026-03" in page


@pytest.mark.parametrize("make", ["content", "full", "many"])
def test_first_page_is_one_page_and_says_the_main_things(
    sample: ModuleType, tmp_path: Path, words: Words, make: str
) -> None:
    text = pages(render_pdf(getattr(sample, make)(), language=words.language), tmp_path)
    first = squeezed(text[0])
    heading = "verification.target_met" if make == "full" else "front.against_aim"  # a follow-up asks for the target
    for key in ("front.found", "front.sure", "front.next", "front.neutral", heading):
        assert squeezed(unicodedata.normalize("NFKC", words.say(key))) in first, key
    assert squeezed(words.say("document.contents")) in squeezed(text[1])[:400]


def test_forty_places_all_appear_with_level_and_readings(sample: ModuleType, tmp_path: Path) -> None:
    content = sample.many(40)
    text = squeezed(" ".join(pages(render_pdf(content, language="en"), tmp_path)))
    for place in content.places:
        assert text.count(squeezed(place.name)) >= 3
    for reading in content.readings:
        assert reading.id in text


@pytest.mark.parametrize("count", [0, 1])
def test_few_places(sample: ModuleType, count: int) -> None:
    content = sample.content()
    places = content.places[:count]
    kept = replace(content, places=places, verdicts=sample.verdicts(places), contributions=(), readings=())
    assert render_pdf(kept, language="en").startswith(b"%PDF")


def test_nothing_but_a_title_still_makes_a_report(tmp_path: Path) -> None:
    bare = ReportContent("s", "t", "2026-01-01", "found", "eu")
    text = " ".join(pages(render_pdf(bare, language="en"), tmp_path))
    assert "could not be compared with an official limit" in text
    assert "The record was not amended." in text
    assert "so there is no checksum" in text


def test_chapters_are_there_only_with_content(sample: ModuleType, tmp_path: Path, english: Words) -> None:
    without = " ".join(pages(render_pdf(sample.content(), language="en"), tmp_path))
    with_all = " ".join(pages(render_pdf(sample.full(), language="en"), tmp_path))
    for key in ("map", "listening", "logs", "remedy", "verification", "located"):
        title = english.say(f"section.{key}")
        assert title in with_all
        assert title not in without


def test_a_report_may_be_cut_down_to_parts(sample: ModuleType, tmp_path: Path) -> None:
    letter = " ".join(pages(render_pdf(sample.full(), language="en", parts=[Part.LETTER]), tmp_path))
    assert "Dear family Example" in letter
    assert "Data annex" not in letter
    order = " ".join(pages(render_pdf(sample.full(), language="en", parts=["front", "remedy"]), tmp_path))
    assert "Plan and work order" in order
    assert "What was found" in order
    with pytest.raises(UnknownNameError, match="part named 'nonsense'"):
        render_pdf(sample.full(), language="en", parts=["nonsense"])


def test_references_say_how_they_are_known_and_what_force_they_have(sample: ModuleType, tmp_path: Path) -> None:
    text = squeezed(" ".join(pages(render_pdf(sample.content(), language="en"), tmp_path)))
    for said in (
        "from memory",
        "disputed voluntary guideline",
        "official recommendation",
        "Annex III, table 2",
        "edition 2020",
    ):
        assert squeezed(said) in text
    assert squeezed("lower edge belongs to the category") in text


def test_hash_of_the_package_is_printed_whole(sample: ModuleType, tmp_path: Path) -> None:
    text = squeezed(" ".join(pages(render_pdf(sample.content(), language="en"), tmp_path)))
    assert "ab12cd34" * 8 in text


def test_nothing_is_half_written(sample: ModuleType, tmp_path: Path) -> None:
    missing = tmp_path / "no such folder" / "x.pdf"
    with pytest.raises(StoreError, match="cannot be written"):
        render_pdf(sample.content(), missing, language="en")
    with pytest.raises(FormatError, match="'soon' is not a date"):
        render_pdf(sample.content(issued_at="soon"), tmp_path / "x.pdf", language="en")
    with pytest.raises(UnknownNameError, match="language"):
        render_pdf(sample.content(), tmp_path / "x.pdf", language="tlh")
    assert list(tmp_path.iterdir()) == []


def test_not_finite_numbers_do_not_break_the_page(sample: ModuleType) -> None:
    inf = float("inf")
    place = PlaceFinding("p", "P", levels=(PlaceLevel("found", Kind.PEAK, Level(1e-6, 0.0, inf)),))
    assert render_pdf(sample.content(places=(place,), verdicts=(), contributions=()), language="en")


def test_all_characters_listed_as_displayable_are_shown_by_the_fonts() -> None:
    firsts, lasts = _ranges()
    characters = [chr(c) for a, b in zip(firsts, lasts, strict=True) for c in range(a, b + 1)]
    assert len(characters) > 5000
    letter = {"style": "body", "type": "Paragraph"}
    blocks = [{**letter, "text": " ".join(characters[i : i + 200])} for i in range(0, len(characters), 200)]
    section = {"title": "t", "blocks": blocks, "new_page": False, "numbered": True, "part": "levels", "number": "1"}
    labels = {"survey": "s", "page": "p", "contents": "c", "figure": "f", "table": "t", "found": "f"}
    data = {"title": "t", "author": "a", "description": "d", "survey": "s", "language": "en", "banner": "", "kind": "k",
            "running": "r", "subtitle": "s", "issued": "i", "front": None, "sections": [section], "labels": labels}  # fmt: skip
    assert set_page("report.typ", lambda clean: data, issued_at="2026-01-01").startswith(b"%PDF")


@pytest.mark.published("The Unicode Standard, character names (as carried by Python's unicodedata)")
def test_names_of_characters() -> None:
    assert named("👶") == "[baby]"
    assert named("\ufe0f") == ""
    assert plain("5 µW/m² – „Bett“ ≤ 3") == "5 µW/m² – „Bett“ ≤ 3"
    assert plain("Ａ") in {"Ａ", "[fullwidth latin capital letter a]"}
    assert not displayable("漢")
    assert strictly_plain("ä\u0489") == "ä[combining cyrillic millions sign]"
