"""Every page from a context of its own, in each language, within its size."""

from __future__ import annotations

import json
import re
from dataclasses import fields
from importlib.resources import files
from pathlib import Path

import pytest
from jinja2 import meta

from roomfield.quantities.kind import Kind
from roomfield.show.words.told import told_catalogue
from roomfield.web import contexts
from roomfield.web.contexts import Context
from roomfield.web.faults import status_of
from roomfield.web.help import explain, explanations
from roomfield.web.page_texts import catalogue, preferred, say
from roomfield.web.rendering import FURNITURE, environment
from roomfield.web.security_middleware import BodyTooLarge
from roomfield.workbench.record import survey_list
from roomfield.workbench.record.field_entry import Entry, Value, enter

WEB = Path(str(files("roomfield.web")))
SMALL_PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c4890000000b49444154789c6360000200000500017a5eab"
    "3f0000000049454e44ae426082"
)
WHOLE = ("de", "fr")
"""Languages beside English that lack nothing."""
PAGES = [one for one in vars(contexts).values() if isinstance(one, type) and issubclass(one, Context) and one.template]


def names_used(template: str) -> set[str]:
    """Names that a template and those it extends or includes ask for."""
    source = (WEB / "templates" / template).read_text(encoding="utf-8")
    tree = environment().parse(source)
    found = meta.find_undeclared_variables(tree)
    for other in meta.find_referenced_templates(tree):
        found |= names_used(other) if other and other not in {"help.html", "parts/sheet.html"} else set()
    made_here = set(re.findall(r"{% (?:set|macro|from \"[^\"]+\" import) (\w+)", source))
    return found - made_here - {"step_name", "step_slug", "help", "sheet"}


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.__name__)
def test_a_template_uses_its_context_and_nothing_else(page):
    given = {field.name for field in fields(page)}
    used = names_used(page.template) - FURNITURE
    assert used <= given, "asks for what the context does not give"
    assert given - used <= {"head"}, "the context gives what nobody asks for"


def sentences() -> set[str]:
    found = set()
    for path in (WEB / "templates").rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        found |= {a or b for a, b in re.findall(r"""_\(\s*(?:"((?:[^"\\]|\\.)*)"|'((?:[^'\\]|\\.)*)')""", text)}
    for path in (WEB / "static" / "js").rglob("*.js"):
        found |= set(re.findall(r"""\bt\(\s*"((?:[^"\\]|\\.)*)\"""", path.read_text(encoding="utf-8")))
    for one in explanations():
        found |= {one.name, one.what, one.what_not, one.source}
    return found


@pytest.mark.parametrize("language", WHOLE)
def test_every_sentence_of_the_pages_is_there(language):
    assert len(sentences()) > 300
    assert sorted(sentences() - set(catalogue(language))) == []


def test_whole_languages_have_the_same_sentences():
    """Names and choices that come from code are no literal of a page; German names them for every other language."""
    for language in WHOLE:
        assert set(catalogue(language)) ^ set(catalogue("de")) == set(), language
        assert set(told_catalogue(language)) ^ set(told_catalogue("de")) == set(), language


@pytest.mark.parametrize("language", WHOLE)
def test_a_translation_keeps_every_placeholder(language):
    holes = re.compile(r"\{\w+\}")
    pairs = catalogue(language).items()
    assert [english for english, other in pairs if sorted(holes.findall(english)) != sorted(holes.findall(other))] == []


@pytest.mark.published("Lexique des règles typographiques en usage à l'Imprimerie nationale (from memory)")
def test_french_never_breaks_a_line_before_its_punctuation():
    texts = [*catalogue("fr").values(), *told_catalogue("fr").values()]
    assert [text for text in texts if re.search(r" [:;?!%»]|« ", text)] == []


@pytest.mark.published("RFC 9110, section 12.5.4 (Accept-Language)")
@pytest.mark.parametrize(
    ("cookie", "header", "expected"),
    [
        ("", "de-AT,de;q=0.9,en;q=0.8", "de"),
        ("", "fr,en;q=0.5", "fr"),
        ("", "it,en;q=0.5", "en"),
        ("en", "de", "en"),
        ("xx", "fr", "fr"),
        ("", "", "en"),
    ],
)
def test_the_reader_gets_the_language_asked_for(cookie, header, expected):
    assert preferred(cookie, header) == expected


def test_unknown_sentences_stay_as_they_are():
    assert say("de", "Never heard of {what}", what="this") == "Never heard of this"


PATHS = [
    "/",
    "/surveys/new",
    "/help",
    "/api",
    *(f"/surveys/demo-terraced-house/{step.slug}" for step in contexts.STEPS),
    "/surveys/demo-terraced-house/night",
]


@pytest.mark.parametrize("language", ["en", *WHOLE])
@pytest.mark.parametrize("path", PATHS)
def test_every_page_stands_in_each_language_and_is_small(client, demo, path, language):
    answer = client.get(path, headers={"accept-language": language, "accept-encoding": "identity"})
    assert answer.status_code == 200
    assert f'<html lang="{language}">' in answer.text
    assert len(answer.content) < 300_000
    assert not re.search(r"<script(?![^>]*\b(?:src=|type=\"application/json\"))", answer.text), "no script in the page"
    assert not re.search(r"\sstyle=|\son[a-z]+=", answer.text), "nothing that the policy would refuse"
    assert not re.search(r"(?:src|href|action)=\"(?:https?:)?//", answer.text), "nothing from elsewhere"


@pytest.mark.parametrize("part", ["understand/levels", "understand/switches", "understand/field", "logs"])
def test_parts_that_load_later_stand_by_themselves(client, demo, part):
    assert client.get(f"/surveys/{demo}/{part}?visit=first").status_code == 200


def test_the_line_of_what_to_do_next_says_how_to_begin_and_whether_it_is_settled(client, demo, survey_id):
    assert "Begin with a scan at Bed" in client.get(f"/surveys/{survey_id}/next").text
    first_sight = client.get(f"/surveys/{demo}/next?visit=first&soon=true").text
    settled = client.get(f"/surveys/{demo}/next?visit=first").text
    assert "data-settled" in first_sight and 'data-settled="yes"' in settled
    assert "What to do next" in settled and " min, " in settled


def test_an_empty_survey_has_a_way_on_from_every_page(client, survey_id):
    for slug in ("understand", "what-if", "report"):
        assert f"/surveys/{survey_id}/walk" in client.get(f"/surveys/{survey_id}/{slug}").text


def test_the_list_finds_by_words_and_says_when_nothing_matches(client, survey_id):
    assert "Lindenweg 4" in client.get("/?query=muster+linden").text
    assert "Nothing matches" in client.get("/?query=nowhere").text


def test_a_title_is_text_and_never_markup(client, records, survey_id):
    client.post(f"/surveys/{survey_id}/assignment", data={"title": "<script>alert(1)</script>"})
    page = client.get("/").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_data_for_scripts_cannot_end_its_own_element(client, records, survey_id):
    client.post(f"/surveys/{survey_id}/assignment", data={"title": "ordinary"})
    plan = client.get(f"/api/v1/surveys/{survey_id}/plan").json()
    plan["plan"]["places"][0]["name"] = "</script><script>alert(1)</script>"
    client.put(f"/api/v1/surveys/{survey_id}/plan?revision={plan['revision']}", content=json.dumps(plan["plan"]))
    assert "</script><script>alert" not in client.get(f"/surveys/{survey_id}/plan").text


def test_deleting_asks_for_the_title(client, records, survey_id):
    assert client.post(f"/surveys/{survey_id}/delete", data={"typed": "Lindenweg"}).status_code == 422
    assert client.post(f"/surveys/{survey_id}/delete", data={"typed": "Lindenweg 4"}).status_code == 200
    assert survey_list.list_surveys(records) == ()


def test_a_package_goes_out_and_comes_in_beside_the_first(client, records, survey_id):
    packed = client.get(f"/surveys/{survey_id}/package")
    assert packed.headers["content-disposition"] == 'attachment; filename="lindenweg-4.zip"'
    answer = client.post("/surveys/import", files={"package": ("x.zip", packed.content, "application/zip")})
    assert answer.status_code == 200
    assert len(survey_list.list_surveys(records)) == 2


def test_a_changed_package_is_refused_whole(client, records, survey_id):
    packed = bytearray(client.get(f"/surveys/{survey_id}/package").content)
    packed[len(packed) // 2] ^= 0xFF
    answer = client.post("/surveys/import", files={"package": ("x.zip", bytes(packed), "application/zip")})
    assert answer.status_code == 422
    assert len(survey_list.list_surveys(records)) == 1


@pytest.mark.published("RFC 9110, section 15.5: 404, 409, 413, 422")
def test_faults_come_as_a_page_or_as_json_and_never_as_a_trace(client, survey_id):
    page = client.get("/surveys/none/plan")
    told = client.get("/api/v1/surveys/none")
    assert (page.status_code, told.status_code) == (404, 404)
    assert "Traceback" not in page.text
    assert set(told.json()) == {"what", "where", "mend"}
    early = client.get(f"/api/v1/surveys/{survey_id}/assessment")
    assert early.status_code == 409
    assert early.json()["mend"]
    assert status_of(BodyTooLarge("too large")) == 413


def test_a_picture_bomb_is_refused_by_its_head(client, survey_id):
    head = b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR" + (60_000).to_bytes(4, "big") * 2 + b"\x08\x02\x00\x00\x00"
    for name, content in (
        ("plan.png", head.ljust(64, b"\0")),
        ("plan.exe", b"MZ"),
        ("plan.dxf", b"\0" * 100),
        ("plan.pdf", b"%PDF-broken"),
    ):
        answer = client.post(f"/api/v1/surveys/{survey_id}/plan/underlay", files={"file": (name, content)})
        assert answer.status_code == 422, name
        assert answer.json()["what"], name


@pytest.mark.parametrize("name", ["../../../etc/passwd.png", "..\\..\\x.png", "/etc/cron.d/x.png"])
def test_no_path_of_a_user_reaches_the_disk(client, records, survey_id, name, tmp_path):
    answer = client.post(f"/api/v1/surveys/{survey_id}/plan/underlay", files={"file": (name, SMALL_PNG)})
    assert answer.status_code == 200
    kept = records.media.path(answer.json()["sha256"])
    assert tmp_path in kept.parents
    assert [p for p in tmp_path.rglob("*") if "passwd" in p.name or "cron" in p.name] == []


def test_media_are_shown_without_any_right_and_only_to_their_survey(client, records, survey_id, demo):
    hash_ = client.post(f"/api/v1/surveys/{survey_id}/plan/underlay", files={"file": ("a.png", SMALL_PNG)}).json()[
        "sha256"
    ]
    shown = client.get(f"/surveys/{survey_id}/media/{hash_}")
    assert shown.headers["content-security-policy"] == "sandbox"
    assert shown.headers["content-type"] == "image/png"
    assert client.get(f"/surveys/{demo}/media/{hash_}").status_code == 422


def test_help_explains_every_kind_of_reading():
    for kind in Kind:
        assert explain(kind.value.replace("_", "-")).what_not


def test_the_report_leaves_as_pdf_html_and_tables(client, records, survey_id):
    entry = Entry("entry-1", "visit-1", "meter-1", "as-found",
                  (Value(120.0, Kind.PEAK), Value(9.0, Kind.AVERAGE)), place_id="place-1")  # fmt: skip
    enter(records, survey_id, entry)
    pdf = client.get(f"/surveys/{survey_id}/report/file.pdf")
    assert pdf.content.startswith(b"%PDF-")
    assert "attachment" in pdf.headers["content-disposition"]
    preview = client.get(f"/surveys/{survey_id}/report/preview?language=de")
    assert "script-src" not in preview.headers["content-security-policy"]
    assert "default-src 'none'" in preview.headers["content-security-policy"]
    assert 'lang="de"' in preview.text
    short = client.get(f"/surveys/{survey_id}/report/preview?part=levels")
    assert len(short.text) < len(preview.text)
    assert client.get(f"/surveys/{survey_id}/report/file.docx").status_code == 422
    assert client.get(f"/surveys/{survey_id}/report/file.xlsx").content.startswith(b"PK")


def test_marks_of_evidence_stay_out_of_the_clients_copy(client, records, demo):
    """What the marks stand for is the assessor's register: it comes with the data, not with the page."""
    page = client.get(f"/surveys/{demo}/report/preview?language=de").text
    words = re.sub(r"<[^>]+>", " ", page)
    assert set(re.findall(r"(?<![\w-])E\d{2}\b", words)) == set()
    assert not re.search(r"forum|zitieren", words, re.IGNORECASE)


def test_a_guideline_and_its_categories_are_named_in_german(client, demo):
    page = client.get(f"/surveys/{demo}/understand/levels", headers={"accept-language": "de"}).text
    assert "Baubiologische Richtwerte" in page
    assert "auffällig" in page
    assert "anomaly" not in page


def test_the_record_is_backed_up_at_a_press(client, records, survey_id):
    page = client.post("/backup")
    assert page.status_code == 200
    found = re.search(r"[^>\s]+roomfield-\d{8}T\d{6}Z\.sqlite", page.text)
    with survey_list.open_records(found.group()) as copy:
        assert [one.id for one in copy.surveys()] == [survey_id]


def test_checklists_the_archive_and_templates_of_homes_are_reached_from_their_pages(
    client, survey_id, records, monkeypatch, tmp_path
):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    assert f"/surveys/{survey_id}/checklist" in client.get(f"/surveys/{survey_id}/assignment").text
    said = {"row": "own-phone-off", "visit_id": records.load(survey_id).survey.visits[0].id, "done": "yes"}
    page = client.post(f"/surveys/{survey_id}/checklist", data=said).text
    assert page.count(" checked") == 1
    assert client.post(f"/surveys/{survey_id}/checklist", data={"row": "none", "done": "yes"}).status_code == 404
    page = client.post(f"/surveys/{survey_id}/archive", data={"archived": "yes"}).text
    assert "1 in the archive" in page and "Lindenweg 4" not in page
    assert "Lindenweg 4" in client.get("/?archive=1").text
    assert "Lindenweg 4" in client.get("/?query=lindenweg").text
    assert "Lindenweg 4" in client.post(f"/surveys/{survey_id}/archive", data={"archived": "no"}).text
    page = client.post(f"/surveys/{survey_id}/template", data={"name": "Like the Muster flat"}).text
    assert 'value="own-like-the-muster-flat"' in page
    begun = client.post("/surveys/new", data={"title": "Next", "starter": "own-like-the-muster-flat"})
    assert begun.status_code == 200
    assert "own-like-the-muster-flat" not in client.post("/templates/own-like-the-muster-flat/remove").text
