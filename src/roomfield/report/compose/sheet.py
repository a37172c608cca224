"""The whole document: all sections that have content, in order, with the first page in front."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import replace
from itertools import count
from string import ascii_uppercase

from roomfield.errors import UnknownNameError
from roomfield.report.compose.annex import amendments_section, annex_section
from roomfield.report.compose.basis import (
    budget_section,
    cautions_section,
    instrument_section,
    method_section,
    references_section,
    undetermined_section,
)
from roomfield.report.compose.blocks import ANNEXES, Part, Section, Sheet
from roomfield.report.compose.evidence_chapters import listening_section, logs_section, sound_section
from roomfield.report.compose.front import Links, front
from roomfield.report.compose.kinds import kinds_section
from roomfield.report.compose.levels import levels_section, plan_section, states_section
from roomfield.report.compose.photo_chapter import photos_section
from roomfield.report.compose.sources import map_section, sources_section, steps_section, switching_section
from roomfield.report.compose.work_chapters import letter_section, remedy_section, verification_section
from roomfield.report.document import ReportContent
from roomfield.show.words import Words

Maker = Callable[[ReportContent, Words], Section | None]

MAKERS: tuple[tuple[Part, Maker], ...] = (
    (Part.LETTER, letter_section),
    (Part.VERIFICATION, verification_section),
    (Part.PLAN, plan_section),
    (Part.LEVELS, levels_section),
    (Part.KINDS, kinds_section),
    (Part.SOURCES, sources_section),
    (Part.MAP, map_section),
    (Part.STEPS, steps_section),
    (Part.REMEDY, remedy_section),
    (Part.LISTENING, listening_section),
    (Part.LOGS, logs_section),
    (Part.UNDETERMINED, undetermined_section),
    (Part.CAUTIONS, cautions_section),
    (Part.STATES, states_section),
    (Part.SWITCHING, switching_section),
    (Part.SOUND, sound_section),
    (Part.PHOTOS, photos_section),
    (Part.METHOD, method_section),
    (Part.INSTRUMENT, instrument_section),
    (Part.BUDGET, budget_section),
    (Part.REFERENCES, references_section),
    (Part.AMENDMENTS, amendments_section),
    (Part.ANNEX, annex_section),
)
"""Every part but the first page, in order."""


def compose(content: ReportContent, words: Words, parts: Collection[str] | None = None) -> Sheet:
    """Content to a document ready to be set.

    Parameters
    ----------
    content : ReportContent
        What is to be said.
    words : Words
        Language.
    parts : collection of str, optional
        Names of :class:`Part` to keep; all that have content if left out.

    Raises
    ------
    UnknownNameError
        If a name is no part.
    """
    kept = _kept(parts)
    made = [maker(content, words) for part, maker in MAKERS if part in kept]
    sections = _numbered(s for s in made if s is not None)
    numbers = {s.part: _reference(s, words) for s in sections if s.number}
    return Sheet(
        language=words.language,
        kind=words.say("document.kind"),
        title=content.title,
        subtitle=words.say("document.subtitle"),
        survey=content.survey_id,
        issued=words.say("document.issued", date=words.numbers.date(content.issued_at)),
        issued_at=content.issued_at,
        banner=words.say("document.invented_banner") if content.invented else "",
        description=words.say("document.pdf_description", survey=content.survey_id),
        front=front(content, words, Links(numbers)) if Part.FRONT in kept else None,
        sections=sections,
        labels=_labels(content, words),
    )


def _numbered(sections: Iterable[Section]) -> tuple[Section, ...]:
    """Chapters with numbers, annexes with letters; the first annex begins on a new page."""
    chapters, letters, done = count(1), iter(ascii_uppercase), []
    for section in sections:
        annex = section.part in ANNEXES
        number = "" if not section.numbered else next(letters) if annex else str(next(chapters))
        done.append(replace(section, number=number, new_page=section.new_page or (annex and number == "A")))
    return tuple(done)


def _reference(section: Section, words: Words) -> str:
    """What a section is called in running text."""
    key = "document.annex_reference" if section.part in ANNEXES else "document.section_reference"
    return words.say(key, number=section.number)


def _kept(parts: Collection[str] | None) -> set[Part]:
    if parts is None:
        return set(Part)
    for name in parts:
        if name not in set(Part):
            raise UnknownNameError("part", name, [p.value for p in Part])
    return {Part(name) for name in parts}


def _labels(content: ReportContent, words: Words) -> tuple[tuple[str, str], ...]:
    """Texts of the page frame; what stands in braces is filled by the page setting."""
    return (
        ("survey", words.say("document.footer_survey", survey=content.survey_id)),
        ("page", words.say("document.footer_page", page="{page}", pages="{pages}")),
        ("contents", words.say("document.contents")),
        ("figure", words.say("document.figure", n="{n}")),
        ("table", words.say("document.table", n="{n}")),
    )
