"""The control chart of a meter's reference checks."""

from __future__ import annotations

from roomfield.show.evidence import ControlChart
from roomfield.show.figures import style
from roomfield.show.figures.axis import linear_scale
from roomfield.show.figures.svg import Drawing, Point
from roomfield.show.words import Words

_HEIGHT = 150.0
_LEFT = 34.0


def control_chart(chart: ControlChart, words: Words) -> str:
    """Deviations over the sequence of checks with warning and action limits, as SVG.

    Parameters
    ----------
    chart : ControlChart
        Checks and limits [dB].
    words : Words
        Language.
    """
    low, high = chart.centre_db - chart.action_db, chart.centre_db + chart.action_db
    deviations = [c.deviation_db for c in chart.checks]
    scale = linear_scale([low, high, *deviations], _HEIGHT - 30, 10, about=5)
    items = "; ".join(f"{words.numbers.date(c.at[:10])} {words.numbers.decibel(c.deviation_db)}" for c in chart.checks)
    alt = words.say("figure.control.alt", n=len(chart.checks), low=low, high=high, items=items)
    drawing = Drawing(style.WIDTH, _HEIGHT, words.say("figure.control.title"), alt, "control-chart")
    right = style.WIDTH - 8
    for value in scale.ticks(5):
        drawing.text(
            (_LEFT - 6, scale.at(value) + 2.5),
            words.numbers.as_given(round(value, 6)),
            size=7,
            anchor="end",
            fill=style.SOFT,
        )
    drawing.line((_LEFT, scale.at(chart.centre_db)), (right, scale.at(chart.centre_db)), stroke=style.RULE, width=0.8)
    for half, dash in ((chart.warning_db, "4 3"), (chart.action_db, "")):
        for value in (chart.centre_db - half, chart.centre_db + half):
            drawing.line((_LEFT, scale.at(value)), (right, scale.at(value)), stroke=style.SOFT, width=0.8, dash=dash)
    step = (right - _LEFT) / (len(chart.checks) + 1)
    points: list[Point] = [(_LEFT + step * (n + 1), scale.at(d)) for n, d in enumerate(deviations)]
    drawing.polyline(points, stroke=style.ACCENT_SOFT, width=1.0)
    for point, check in zip(points, chart.checks, strict=True):
        drawing.circle(
            point,
            2.8,
            fill=style.INK if check.flagged else style.PAPER,
            stroke=style.INK,
            kind="flagged" if check.flagged else "check",
        )
    _dates(drawing, points, [words.numbers.iso_moment(c.at[:10]) for c in chart.checks])
    drawing.text((_LEFT, _HEIGHT - 2), words.say("figure.control.unit"), size=7.5, fill=style.SOFT)
    return drawing.svg()


def _dates(drawing: Drawing, points: list[Point], labels: list[str]) -> None:
    """Dates under the points, as many as fit."""
    every = max(1, -(-len(points) * 52 // int(style.WIDTH - _LEFT)))
    for n in range(0, len(points), every):
        drawing.text((points[n][0], _HEIGHT - 17), labels[n], size=7, anchor="middle", fill=style.SOFT)
