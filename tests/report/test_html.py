from __future__ import annotations

import base64
import hashlib
import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from types import ModuleType

import pytest

from roomfield.errors import StoreError
from roomfield.report import render_html
from roomfield.report.compose import compose
from roomfield.show.words import Words

VOID = {"meta", "br", "link", "img", "hr", "input"}


class Reader(HTMLParser):
    """Collects tags, attributes and text, and checks that elements close in order."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def parsed(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    reader.close()
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def html(sample: ModuleType) -> str:
    return render_html(sample.full(), language="en")


@pytest.mark.published("W3C Content Security Policy Level 3, 2.3.1: hash source of an inline style element")
def test_strict_policy_allows_exactly_the_own_style(html: str) -> None:
    policy = next(a["content"] for t, a in parsed(html).tags if a.get("http-equiv") == "Content-Security-Policy")
    style = re.search(r"<style>(.*?)</style>", html, re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style.group(1).encode()).digest()).decode()
    assert policy is not None
    assert policy.startswith("default-src 'none'; ")
    assert f"style-src 'sha256-{digest}'" in policy


def test_the_file_needs_nothing_else(html: str) -> None:
    for tag, attributes in parsed(html).tags:
        assert tag not in {"script", "iframe", "object", "embed", "link", "img", "form", "base"}
        assert "style" not in attributes
        assert not [k for k in attributes if k.startswith("on")]
        inside = ("#", "data:image/jpeg;base64,") if tag == "image" else ("#",)
        assert all((attributes.get(k) or "#").startswith(inside) for k in ("href", "src", "xlink:href", "action"))


@pytest.mark.published("W3C WCAG 2.1: 1.3.1 structure, 2.4.1 and 2.4.6 headings, 3.1.1 language (from memory)")
def test_structure_for_assistive_technology(html: str) -> None:
    tags = parsed(html).tags
    assert next(a for t, a in tags if t == "html")["lang"] == "en"
    levels = [int(t[1]) for t, _ in tags if re.fullmatch(r"h[1-6]", t)]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))
    assert all(a.get("scope") for t, a in tags if t == "th")
    ids = [a["id"] for _, a in tags if "id" in a]
    assert len(ids) == len(set(ids))
    targets = {(a.get("href") or "")[1:] for t, a in tags if t == "a"}
    assert targets <= set(ids)
    pictures = [a for t, a in tags if t == "svg"]
    assert len(pictures) >= 12
    assert all(a.get("role") == "img" for a in pictures)


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", '" onload="x', "{{ 7*7 }}", "</svg><h1>x", "&lt;"])
def test_user_text_is_data(sample: ModuleType, text: str) -> None:
    content = sample.full()
    place = replace(content.places[0], name=text, note=text)
    hostile = replace(
        content, title=text, places=(place, *content.places[1:]), storeys=(replace(content.storeys[0], name=text),)
    )
    made = render_html(hostile, language="de")
    reader = parsed(made)
    assert "script" not in {t for t, _ in reader.tags}
    assert sum(t == "h1" for t, _ in reader.tags) == 1
    assert sum(text in t for t in reader.texts) >= 5
    assert "49" not in {t.strip() for t in reader.texts}


def test_characters_that_html_forbids_are_named(sample: ModuleType) -> None:
    made = render_html(sample.content(title="a\x00b\x07c\ud800 👶 漢"), language="en")
    assert "a[U+0000]b[U+0007]c[U+D800] 👶 漢" in made
    made.encode("utf-8")


def test_invented_data_are_marked(sample: ModuleType, words: Words) -> None:
    banner = words.say("document.invented_banner")
    assert render_html(sample.content(), language=words.language).count(banner) >= 2
    assert banner not in render_html(sample.content(invented=False), language=words.language)


def test_html_says_what_the_document_says(sample: ModuleType, words: Words) -> None:
    content = sample.full()
    text = " ".join(parsed(render_html(content, language=words.language)).texts)
    sheet = compose(content, words)
    assert sheet.front is not None
    for sentence in sheet.front.lead:
        assert sentence in text
    for section in sheet.sections:
        assert section.title in text
    for place in content.places:
        assert place.name in text


def test_file_is_written_whole(sample: ModuleType, tmp_path: Path) -> None:
    text = render_html(sample.content(), tmp_path / "r.html", language="en")
    assert (tmp_path / "r.html").read_text(encoding="utf-8") == text
    with pytest.raises(StoreError):
        render_html(sample.content(), tmp_path / "none" / "r.html", language="en")


def test_same_content_gives_the_same_text(sample: ModuleType) -> None:
    assert render_html(sample.full(), language="de") == render_html(sample.full(), language="de")


def test_print_style_is_there(html: str) -> None:
    assert "@media print" in html
    assert "@page" in html
