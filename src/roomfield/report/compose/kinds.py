"""A page on peak and average, with the levels of the client's own place."""

from __future__ import annotations

from roomfield.quantities.censoring import Censoring
from roomfield.quantities.kind import Kind
from roomfield.report.compose.answer import answered_places, limit_noun
from roomfield.report.compose.blocks import Block, Paragraph, Part, Section
from roomfield.report.compose.picture import picture
from roomfield.report.document import ReportContent
from roomfield.show.figures.pulse_train import pulse_picture
from roomfield.show.shown_place import ShownPlace
from roomfield.show.words import Words


def kinds_section(content: ReportContent, words: Words) -> Section | None:
    """What peak and average mean at the place that was answered first; None unless both were read there."""
    shown = next((p for p in answered_places(content) if _has_both(p)), None)
    if shown is None or shown.level is None or shown.average is None:
        return None
    peak, average = shown.level.level.median_w_m2, shown.average.level.median_w_m2
    named = {"place": shown.place.name, "peak": peak, "average": average}
    marks, law = [], content.reference(content.law_id)
    if shown.aim is not None:
        marks.append((shown.aim.bound_w_m2, words.say("aim.label")))
    if shown.law is not None:
        marks.append((shown.law.bound_w_m2, words.say("front.limit")))
    blocks: list[Block] = [
        Paragraph(words.say("kinds.peak", **named)),
        Paragraph(words.say("kinds.average", ratio=peak / average, share=min(1.0, average / peak), **named)),
        picture(
            pulse_picture(peak, average, marks, words, place=shown.place.name),
            words.say("figure.kinds.caption", place=shown.place.name),
        ),
    ]
    if law is not None and law.averaging_s:
        blocks.append(Paragraph(words.say("kinds.law", limit=limit_noun(law, words), time=law.averaging_s)))
    blocks.append(Paragraph(words.say("kinds.guideline")))
    return Section(Part.KINDS, words.say("section.kinds"), tuple(blocks))


def _has_both(shown: ShownPlace) -> bool:
    """Whether a place has a peak or held value and an average, both of them numbers."""
    levels = (shown.level, shown.average)
    known = all(item is not None and item.level.censoring is Censoring.NONE for item in levels)
    return known and shown.level is not None and shown.level.kind is not Kind.AVERAGE
