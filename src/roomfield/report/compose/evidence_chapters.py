"""Chapters on recordings and long series; absent unless their content is given."""

from __future__ import annotations

from roomfield.report.compose.blocks import (
    Align,
    Block,
    Cell,
    Column,
    Heading,
    Paragraph,
    Part,
    Row,
    Section,
    Table,
)
from roomfield.report.compose.picture import picture
from roomfield.report.document import ReportContent
from roomfield.show.chapters import HeardEntry, LogEntry, RecordingEntry
from roomfield.show.figures.envelope import envelope_spectrum, folded_profile
from roomfield.show.figures.series import day_profile, timeline
from roomfield.show.words import Words


def listening_section(content: ReportContent, words: Words) -> Section | None:
    """What was heard in recordings; None if there are none."""
    if not content.recordings:
        return None
    blocks: list[Block] = [Paragraph(words.say("listening.intro"))]
    for recording in content.recordings:
        blocks += [Heading(_where(recording, words)), Paragraph(_claims(recording, words))]
        blocks += [Paragraph(words.say("listening.unknown", text=words.text(t))) for t in recording.unknown]
    return Section(Part.LISTENING, words.say("section.listening"), tuple(blocks))


def sound_section(content: ReportContent, words: Words) -> Section | None:
    """The evidence behind what was heard: every technology with its probability, profile and spectrum."""
    blocks = [block for recording in content.recordings for block in _recording(recording, words)]
    return Section(Part.SOUND, words.say("section.sound"), tuple(blocks)) if blocks else None


def _where(recording: RecordingEntry, words: Words) -> str:
    return words.say("listening.where", place=recording.place, state=recording.state, duration=recording.duration_s)


def _recording(recording: RecordingEntry, words: Words) -> list[Block]:
    blocks: list[Block] = [Heading(_where(recording, words))]
    if recording.heard:
        blocks.append(_heard(recording, words))
    if recording.profile is not None:
        period = recording.profile.period_s
        caption = words.say("figure.profile.caption", period=period, rate=1 / period, place=recording.place)
        blocks.append(picture(folded_profile(recording.profile, words), caption))
    if recording.spectrum is not None:
        caption = words.say("figure.spectrum.caption", place=recording.place)
        blocks.append(picture(envelope_spectrum(recording.spectrum, words), caption))
    return blocks


def _claims(recording: RecordingEntry, words: Words) -> str:
    claimed = [_claim(h, words) for h in recording.heard if h.claimed]
    return "; ".join(claimed) or words.text(recording.statement)


def _claim(heard: HeardEntry, words: Words) -> str:
    """What was heard: where it cannot be told from others, the probability is that of all of them together."""
    alike = ", ".join(words.text(name) for name in heard.confusable_with)
    key = "listening.claim_alike" if alike else "listening.claim"
    return words.say(key, name=words.text(heard.name), names=alike, probability=heard.probability)


def _heard(recording: RecordingEntry, words: Words) -> Table:
    columns = (
        Column(words.say("listening.technology"), weight=1.6),
        Column(words.say("listening.probability"), Align.END, 0.9),
        Column(words.say("listening.evidence"), weight=3.0),
    )
    rows = []
    for heard in recording.heard:
        alike = ", ".join(words.text(name) for name in heard.confusable_with)
        confusable = words.say("listening.confusable", names=alike) if alike else ""
        rows.append(
            Row(
                (
                    Cell(words.text(heard.name), small=confusable, strong=True),
                    Cell(words.numbers.percent(heard.probability)),
                    Cell(words.text(heard.evidence)),
                )
            )
        )
    return Table(columns, tuple(rows), words.say("listening.caption"))


def logs_section(content: ReportContent, words: Words) -> Section | None:
    """Long series with their statistics; None if there are none."""
    if not content.logs:
        return None
    blocks: list[Block] = []
    for log in content.logs:
        blocks += _log(log, words)
    return Section(Part.LOGS, words.say("section.logs"), tuple(blocks))


def _log(log: LogEntry, words: Words) -> list[Block]:
    span = words.say(
        "logs.span",
        kind=words.say(f"kind.{log.kind.value}"),
        start=words.numbers.moment(log.started_at),
        end=words.numbers.moment(log.ended_at),
    )
    blocks: list[Block] = [Heading(f"{log.place}: {span}")]
    if log.statements:
        blocks.append(Paragraph(" ".join(words.text(one) for one in log.statements)))
    if log.timeline is not None:
        blocks.append(picture(timeline(log.timeline, words), words.say("figure.timeline.caption", place=log.place)))
    if log.day is not None:
        blocks.append(picture(day_profile(log.day, words), words.say("figure.day.caption", place=log.place)))
    if log.figures:
        columns = (
            Column(words.say("logs.figure"), weight=2.5),
            Column(words.say("logs.value"), Align.END, 1.5),
        )
        rows = tuple(Row((Cell(words.text(name)), Cell(words.text(value)))) for name, value in log.figures)
        blocks.append(Table(columns, rows, words.say("logs.caption", place=log.place)))
    return blocks
