"""Photos as evidence: each with what it shows, where and when, its readings, and the hash of the original."""

from __future__ import annotations

from base64 import b64encode
from xml.sax.saxutils import escape, quoteattr

from roomfield.report.compose.annex import grouped
from roomfield.report.compose.blocks import Block, Figure, Paragraph, Part, Section
from roomfield.report.document import ReportContent
from roomfield.show.evidence import PhotoEntry
from roomfield.show.words import Words

WIDEST = 5.0 / 3.0
"""Shape of the space for a photo, so that two of them stand on a page."""


def photos_section(content: ReportContent, words: Words) -> Section | None:
    """Photos that were chosen for the report; None if there are none."""
    if not content.photos:
        return None
    blocks: list[Block] = [Paragraph(words.say("photos.intro")), Paragraph(words.say("photos.private"), "small")]
    blocks += [_photo(one, words) for one in content.photos]
    return Section(Part.PHOTOS, words.say("section.photos"), tuple(blocks))


def _photo(photo: PhotoEntry, words: Words) -> Figure:
    subject = words.say(f"photos.shows_{photo.subject}")
    said = [f"{subject}: {photo.caption}."]
    said += (
        [f"{' · '.join(name for name in (photo.place, photo.state) if name)}."] if photo.place or photo.state else []
    )
    said += [words.say("photos.taken", at=words.numbers.moment(photo.taken_at))] if photo.taken_at else []
    if photo.values:
        values = ", ".join(f"{words.say(f'kind.{kind}')} {words.numbers.power(value)}" for kind, value in photo.values)
        said.append(words.say("photos.values", values=values))
    said.append(words.say("photos.hash", digest=grouped(photo.sha256)))
    return Figure(_drawn(photo, f"{subject}: {photo.caption}"), f"{subject}: {photo.caption}", " ".join(said))


def _drawn(photo: PhotoEntry, words: str) -> str:
    """The photo in a drawing, which every form of the report can set."""
    width = max(photo.width_px, round(photo.height_px * WIDEST))
    data = b64encode(photo.picture).decode("ascii")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {photo.height_px}" role="img" '
        f"aria-label={quoteattr(words)}><desc>{escape(words)}</desc>"
        f'<image width="{photo.width_px}" height="{photo.height_px}" href="data:image/jpeg;base64,{data}"/></svg>'
    )
