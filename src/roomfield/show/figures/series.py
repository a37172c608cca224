"""Levels over time: a long series as a band, and the profile of the day."""

from __future__ import annotations

import math

from roomfield.show.chapters import DayProfile, Timeline
from roomfield.show.figures import style
from roomfield.show.figures.axis import LinearScale, LogScale, level_scale, round_step
from roomfield.show.figures.envelope import axis_names
from roomfield.show.figures.svg import Drawing, Point, polyline_path
from roomfield.show.words import Words
from roomfield.show.words.numbers import MICRO

_HEIGHT = 170.0
_LEFT = 44.0
_BOTTOM = _HEIGHT - 28.0
_RIGHT = style.WIDTH - 8


def timeline(series: Timeline, words: Words) -> str:
    """A long series on a logarithmic level axis, gaps left open, as SVG.

    Parameters
    ----------
    series : Timeline
        Time [s] and lowest, median, highest level [W/m²] of each bin.
    words : Words
        Language.
    """
    hours = [t / 3600 for t in series.at]
    span = max(hours[-1] - hours[0] if hours else 1.0, 1e-6)
    values = [v * MICRO for v in (*series.low_w_m2, *series.high_w_m2) if math.isfinite(v) and v > 0]
    bound = [series.bound_w_m2 * MICRO] if series.bound_w_m2 else []
    y = level_scale([*values, *bound], _BOTTOM, 8)
    x = LinearScale(hours[0] if hours else 0.0, (hours[0] if hours else 0.0) + span, _LEFT, _RIGHT)
    alt = words.say(
        "figure.timeline.alt",
        start=words.numbers.moment(series.start),
        hours=span,
        low=min(values, default=0.0) / MICRO,
        high=max(values, default=0.0) / MICRO,
    )
    drawing = Drawing(style.WIDTH, _HEIGHT, words.say("figure.timeline.title"), alt, "timeline")
    level_grid(drawing, y, words)
    for run in runs(series):
        _band(drawing, series, hours, run, (x, y))
    if series.bound_w_m2:
        drawing.line((_LEFT, y.at(bound[0])), (_RIGHT, y.at(bound[0])), stroke=style.INK, width=1.0, kind="bound")
    steps = (1.0, 2.0, 3.0, 6.0, 12.0, 24.0, 48.0, 168.0, 720.0)
    step = round_step(span / 6) if span < 4 else next((s for s in steps if span / s <= 12), 2160.0)
    for n in range(math.ceil(x.low / step - 1e-9), math.floor(x.high / step + 1e-9) + 1):
        _time_tick(drawing, x.at(n * step), words.numbers.as_given(round(n * step, 6)))
    axis_names(drawing, words.say("figure.timeline.x"), words.say("figure.timeline.y"), _HEIGHT)
    return drawing.svg()


def runs(series: Timeline) -> list[tuple[int, int]]:
    """Stretches without a gap, as first and one-past-last bin."""
    result, start = [], None
    for n, value in enumerate((*series.median_w_m2, math.nan)):
        if math.isfinite(value) and start is None:
            start = n
        elif not math.isfinite(value) and start is not None:
            result.append((start, n))
            start = None
    return result


def _band(
    drawing: Drawing,
    series: Timeline,
    hours: list[float],
    run: tuple[int, int],
    scales: tuple[LinearScale, LogScale],
) -> None:
    x, y = scales
    index = range(*run)
    upper: list[Point] = [(x.at(hours[n]), y.at(series.high_w_m2[n] * MICRO)) for n in index]
    lower: list[Point] = [(x.at(hours[n]), y.at(series.low_w_m2[n] * MICRO)) for n in index]
    drawing.path(polyline_path([*upper, *reversed(lower)], closed=True), fill=style.ACCENT_SOFT, kind="band")
    points = [(x.at(hours[n]), y.at(series.median_w_m2[n] * MICRO)) for n in index]
    drawing.polyline(points, stroke=style.ACCENT, width=0.9, kind="median")


def _time_tick(drawing: Drawing, at: float, label: str) -> None:
    drawing.line((at, _BOTTOM), (at, _BOTTOM + 3), stroke=style.SOFT)
    drawing.text((at, _BOTTOM + 11), label, size=7, anchor="middle", fill=style.SOFT)


def level_grid(drawing: Drawing, y: LogScale, words: Words) -> None:
    """Horizontal lines at powers of ten.

    Parameters
    ----------
    drawing : Drawing
        Where to draw.
    y : LogScale
        Vertical scale [µW/m²].
    words : Words
        Language of the numbers.
    """
    for value in y.decades():
        drawing.line((_LEFT, y.at(value)), (_RIGHT, y.at(value)), stroke=style.FAINT, width=0.6, kind="grid")
        drawing.text(
            (_LEFT - 5, y.at(value) + 2.5),
            words.numbers.as_given(value),
            size=7,
            anchor="end",
            fill=style.SOFT,
        )


def day_profile(profile: DayProfile, words: Words) -> str:
    """Level by hour of the day, as SVG.

    Parameters
    ----------
    profile : DayProfile
        Hour [h] and median with interval [W/m²].
    words : Words
        Language.
    """
    x = LinearScale(0.0, 24.0, _LEFT, _RIGHT)
    y = level_scale([v * MICRO for v in (*profile.low_w_m2, *profile.high_w_m2)], _BOTTOM, 8)
    top = max(range(len(profile.hour)), key=profile.median_w_m2.__getitem__)
    alt = words.say("figure.day.alt", high=profile.median_w_m2[top], hour=profile.hour[top])
    drawing = Drawing(style.WIDTH, _HEIGHT, words.say("figure.day.title"), alt, "day-profile")
    level_grid(drawing, y, words)
    width = 24.0 / max(1, len(profile.hour)) * 0.7
    for n, hour in enumerate(profile.hour):
        left, right = x.at(hour - width / 2), x.at(hour + width / 2)
        low, high = y.at(profile.low_w_m2[n] * MICRO), y.at(profile.high_w_m2[n] * MICRO)
        drawing.rect((left, high), right - left, low - high, fill=style.ACCENT_SOFT, kind="interval")
        middle = y.at(profile.median_w_m2[n] * MICRO)
        drawing.line((left, middle), (right, middle), width=1.4, kind="median")
    for hour in range(0, 25, 3):
        _time_tick(drawing, x.at(hour), str(hour))
    axis_names(drawing, words.say("figure.day.x"), words.say("figure.day.y"), _HEIGHT)
    return drawing.svg()
