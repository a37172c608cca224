"""Peak and average of one place: pulses as wide as the two levels say, with what each is held against."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from roomfield.show.figures import style
from roomfield.show.figures.axis import LogScale, level_scale
from roomfield.show.figures.svg import Drawing, fitted
from roomfield.show.words import Words
from roomfield.show.words.numbers import MICRO

_TOP, _HEIGHT, _LEFT, _RIGHT = 10.0, 170.0, 62.0, 300.0
_PULSES = 6
_LEAST_WIDTH = 0.7
_LINE = 9.5
"""Distance of labels that would run into each other [pt]."""


@dataclass(frozen=True)
class _Line:
    """A level as a line with its label."""

    y: float
    label: str
    dash: str = ""
    strong: bool = False


def pulse_picture(
    peak_w_m2: float, average_w_m2: float, marks: Sequence[tuple[float, str]], words: Words, *, place: str
) -> str:
    """Pulses of a height and share of time that give a peak and an average, as SVG.

    Parameters
    ----------
    peak_w_m2, average_w_m2 : float
        Levels of the place [W/m²]; the share of time on air is their quotient, at most 1.
    marks : sequence of (float, str)
        What levels are held against [W/m²], with its name.
    words : Words
        Language of the labels.
    place : str
        Name of the place.
    """
    share = min(1.0, average_w_m2 / peak_w_m2)
    values = [peak_w_m2, average_w_m2 / 3.0, *(value for value, _ in marks)]
    scale = level_scale([v * MICRO for v in values], _TOP + _HEIGHT, _TOP)
    title = words.say("figure.kinds.title", place=place)
    described = words.say("figure.kinds.alt", place=place, peak=peak_w_m2, average=average_w_m2, share=share)
    drawing = Drawing(style.WIDTH, _TOP + _HEIGHT + 22.0, title, described, "kinds")
    _grid(drawing, scale, words)
    foot, head = scale.at(scale.low), scale.at(peak_w_m2 * MICRO)
    period = (_RIGHT - _LEFT) / _PULSES
    for n in range(_PULSES):
        width = max(_LEAST_WIDTH, share * period)
        start = _LEFT + n * period + (period - width) / 2.0
        drawing.rect((start, head), width, foot - head, fill=style.ACCENT_SOFT, kind="pulse")
    lines = [
        _Line(scale.at(peak_w_m2 * MICRO), words.say("figure.kinds.peak", level=peak_w_m2)),
        _Line(scale.at(average_w_m2 * MICRO), words.say("figure.kinds.average", level=average_w_m2), dash="4 2"),
    ]
    for value, name in marks:
        label = words.say("figure.kinds.mark", name=name, level=value)
        lines.append(_Line(scale.at(value * MICRO), label, strong=True))
    _draw_lines(drawing, sorted(lines, key=lambda one: one.y))
    drawing.text((_RIGHT, _TOP + _HEIGHT + 14), words.say("figure.kinds.time"), size=7.5, anchor="end", fill=style.SOFT)
    drawing.text((0, _TOP + _HEIGHT + 14), words.say("figure.axis.unit"), size=7.5, fill=style.SOFT)
    return drawing.svg()


def _grid(drawing: Drawing, scale: LogScale, words: Words) -> None:
    for value in scale.decades():
        y = scale.at(value)
        drawing.line((_LEFT, y), (_RIGHT, y), stroke=style.FAINT, kind="grid")
        drawing.text((_LEFT - 5, y + 2.5), words.numbers.as_given(value), size=7, anchor="end", fill=style.SOFT)
    drawing.line((_LEFT, _TOP), (_LEFT, _TOP + _HEIGHT), stroke=style.SOFT)
    drawing.line((_LEFT, _TOP + _HEIGHT), (_RIGHT, _TOP + _HEIGHT), stroke=style.SOFT)


def _draw_lines(drawing: Drawing, lines: list[_Line]) -> None:
    """Lines from top to bottom; a label that would cover the one above moves down."""
    free = 0.0
    for line in lines:
        colour = style.ACCENT if line.strong else style.INK
        width = 1.2 if line.strong else 1.0
        drawing.line((_LEFT, line.y), (_RIGHT, line.y), stroke=colour, width=width, dash=line.dash, kind="level")
        at = max(line.y + 2.6, free)
        drawing.text((_RIGHT + 5, at), fitted(line.label, style.WIDTH - _RIGHT - 6, 7.5), size=7.5, fill=colour)
        free = at + _LINE
