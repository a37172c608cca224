"""Which transmitter was there when: a row for each, along a long recording."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from roomfield.show.figures import style
from roomfield.show.figures.axis import LinearScale
from roomfield.show.figures.svg import Drawing, fitted
from roomfield.show.words import Words

_LEFT, _RIGHT, _TOP = 138.0, style.WIDTH - 52.0, 8.0
_ROW, _BAR = 17.0, 11.0
_LEAST_WIDTH = 0.9
_PALEST = 0.12
_STEPS_S = (10.0, 30.0, 60.0, 300.0, 600.0, 1800.0, 3600.0, 7200.0, 14400.0, 43200.0)
_MOST_TICKS = 9


@dataclass(frozen=True)
class PresenceRow:
    """One transmitter: its name, and the probability that it is in each stretch."""

    title: str
    chances: Sequence[float]


def presence(
    stretches: Sequence[tuple[float, float]], rows: Sequence[PresenceRow], length_s: float, words: Words
) -> str:
    """Rows of stretches, the darker the more probable, as SVG; what was not heard in full stays blank.

    Parameters
    ----------
    stretches : sequence of (float, float)
        Ends of each stretch that was heard in full [s].
    rows : sequence of PresenceRow
        Chances in the order of the stretches.
    length_s : float
        Length of the recording [s].
    words : Words
        Language.
    """
    x = LinearScale(0.0, length_s, _LEFT, _RIGHT)
    bottom = _TOP + _ROW * len(rows)
    items = "; ".join(
        words.say("figure.presence.spoken", name=row.title, n=_there(row), whole=len(stretches)) for row in rows
    )
    alt = words.say("figure.presence.alt", whole=len(stretches), items=items)
    drawing = Drawing(style.WIDTH, bottom + 42.0, words.say("figure.presence.title"), alt, "presence")
    for index, row in enumerate(rows):
        _row(drawing, x, stretches, row, _TOP + _ROW * index, words)
    for first, last in stretches:
        drawing.rect((x.at(first), bottom + 1.5), max(x.at(last) - x.at(first), _LEAST_WIDTH), 2.5, fill=style.SOFT)
    _time(drawing, x, length_s, bottom + 5.0, words)
    drawing.text((_LEFT - 6, bottom + 5), words.say("figure.presence.listened"), size=7, anchor="end", fill=style.SOFT)
    drawing.text(
        (_RIGHT, bottom + 34),
        words.say("figure.presence.x", unit="h:mm" if _step(length_s) >= 60 else "m:ss"),
        size=7.5,
        anchor="end",
        fill=style.SOFT,
    )
    return drawing.svg()


def _there(row: PresenceRow) -> int:
    return sum(chance >= 0.5 for chance in row.chances)


def _row(
    drawing: Drawing,
    x: LinearScale,
    stretches: Sequence[tuple[float, float]],
    row: PresenceRow,
    top: float,
    words: Words,
) -> None:
    drawing.text((_LEFT - 6, top + _BAR - 2.5), fitted(row.title, _LEFT - 22, 7.5), size=7.5, anchor="end")
    drawing.line((_LEFT, top + _BAR), (_RIGHT, top + _BAR), stroke=style.FAINT)
    for (first, last), chance in zip(stretches, row.chances, strict=True):
        if chance >= _PALEST:
            width = max(x.at(last) - x.at(first), _LEAST_WIDTH)
            drawing.rect(
                (x.at(first), top), width, _BAR, fill=style.shade(chance), kind="there" if chance >= 0.5 else ""
            )
    count = words.say("figure.presence.count", n=_there(row), whole=len(stretches))
    drawing.text((_RIGHT + 6, top + _BAR - 2.5), count, size=7, fill=style.SOFT)


def _time(drawing: Drawing, x: LinearScale, length_s: float, top: float, words: Words) -> None:
    step = _step(length_s)
    for n in range(math.floor(length_s / step + 1e-9) + 1):
        at = x.at(n * step)
        drawing.line((at, top), (at, top + 4), stroke=style.SOFT)
        drawing.text((at, top + 12), _clock(n * step, step), size=7, anchor="middle", fill=style.SOFT)


def _step(length_s: float) -> float:
    return next((s for s in _STEPS_S if length_s / s <= _MOST_TICKS), 86400.0)


def _clock(seconds: float, step: float) -> str:
    whole = round(seconds)
    if step >= 60:
        return f"{whole // 3600}:{whole // 60 % 60:02d}"
    return f"{whole // 60}:{whole % 60:02d}"
