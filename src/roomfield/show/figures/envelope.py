"""What a recording shows: the folded profile and the spectrum of the envelope."""

from __future__ import annotations

from roomfield.show.chapters import EnvelopeSpectrum, FoldedProfile
from roomfield.show.figures import style
from roomfield.show.figures.axis import LinearScale, LogScale, linear_scale
from roomfield.show.figures.svg import Drawing, Point, polyline_path, text_width
from roomfield.show.words import Words

_HEIGHT = 150.0
_LEFT = 34.0
_BOTTOM = _HEIGHT - 28.0


def folded_profile(profile: FoldedProfile, words: Words) -> str:
    """Envelope over one period, as SVG.

    Parameters
    ----------
    profile : FoldedProfile
        Phase 0 to 1, relative level with its interval.
    words : Words
        Language.
    """
    x = LinearScale(0.0, 1.0, _LEFT, style.WIDTH - 8)
    y = linear_scale([0.0, *profile.mean, *profile.high], _BOTTOM, 8, about=4)
    peak = profile.phase[max(range(len(profile.mean)), key=profile.mean.__getitem__)] if profile.mean else 0.0
    alt = words.say("figure.profile.alt", period=profile.period_s, peak=peak)
    drawing = Drawing(style.WIDTH, _HEIGHT, words.say("figure.profile.title"), alt, "folded-profile")
    horizontal_grid(drawing, y, (_LEFT, style.WIDTH - 8), words)
    if profile.low and profile.high:
        upper = [(x.at(p), y.at(v)) for p, v in zip(profile.phase, profile.high, strict=True)]
        lower = [(x.at(p), y.at(v)) for p, v in zip(profile.phase, profile.low, strict=True)]
        drawing.path(polyline_path([*upper, *reversed(lower)], closed=True), fill=style.ACCENT_PALE, kind="interval")
    points: list[Point] = [(x.at(p), y.at(v)) for p, v in zip(profile.phase, profile.mean, strict=True)]
    drawing.polyline(points, stroke=style.ACCENT, width=1.2, kind="mean")
    for value in (0.0, 0.25, 0.5, 0.75, 1.0):
        drawing.text(
            (x.at(value), _BOTTOM + 11),
            words.numbers.as_given(value),
            size=7,
            anchor="middle",
            fill=style.SOFT,
        )
    unit = f"{words.say('figure.profile.x')} ({words.numbers.duration(profile.period_s)})"
    axis_names(drawing, unit, words.say("figure.profile.y"), _HEIGHT)
    return drawing.svg()


def envelope_spectrum(spectrum: EnvelopeSpectrum, words: Words) -> str:
    """Spectrum of the envelope on a logarithmic frequency axis, as SVG.

    Parameters
    ----------
    spectrum : EnvelopeSpectrum
        Frequency [Hz], level [dB] and the periodicities found.
    words : Words
        Language.
    """
    pairs = [(f, v) for f, v in zip(spectrum.frequency_hz, spectrum.level_db, strict=True) if f > 0]
    low, high = (pairs[0][0], pairs[-1][0]) if len(pairs) > 1 else (1.0, 10.0)
    x = LogScale(low, high, _LEFT, style.WIDTH - 8)
    y = linear_scale([v for _, v in pairs], _BOTTOM, 22, about=4)
    names = "; ".join(f"{words.numbers.frequency(f)} {label}".strip() for f, label in spectrum.lines) or "–"
    drawing = Drawing(
        style.WIDTH,
        _HEIGHT,
        words.say("figure.spectrum.title"),
        words.say("figure.spectrum.alt", items=names),
        "envelope-spectrum",
    )
    horizontal_grid(drawing, y, (_LEFT, style.WIDTH - 8), words)
    drawing.polyline([(x.at(f), y.at(v)) for f, v in pairs], stroke=style.ACCENT, width=0.8, kind="spectrum")
    for value in x.decades():
        drawing.line((x.at(value), _BOTTOM), (x.at(value), _BOTTOM + 3), stroke=style.SOFT)
        drawing.text(
            (x.at(value), _BOTTOM + 11),
            words.numbers.as_given(value),
            size=7,
            anchor="middle",
            fill=style.SOFT,
        )
    _line_labels(drawing, spectrum, x, words)
    axis_names(drawing, words.say("figure.spectrum.x"), words.say("figure.spectrum.y"), _HEIGHT)
    return drawing.svg()


def _line_labels(drawing: Drawing, spectrum: EnvelopeSpectrum, x: LogScale, words: Words) -> None:
    free = [0.0, 0.0]
    for frequency, label in sorted(spectrum.lines):
        at = x.at(frequency)
        drawing.line((at, 20), (at, _BOTTOM), stroke=style.INK, width=0.6, dash="2 2", kind="periodicity")
        text = label or words.numbers.frequency(frequency)
        width = text_width(text, 7.5)
        start = min(max(at - width / 2, _LEFT), style.WIDTH - width)
        lane = next((n for n, end in enumerate(free) if start > end), None)
        if lane is not None:
            free[lane] = start + width + 4
            drawing.text((start, 9 + 9 * lane), text, size=7.5, halo=True)


def horizontal_grid(drawing: Drawing, y: LinearScale, span: tuple[float, float], words: Words) -> None:
    """Horizontal lines with numbers at the left.

    Parameters
    ----------
    drawing : Drawing
        Where to draw.
    y : LinearScale
        Vertical scale.
    span : (float, float)
        Left and right end of the lines [pt].
    words : Words
        Language of the numbers.
    """
    for value in y.ticks(4):
        drawing.line((span[0], y.at(value)), (span[1], y.at(value)), stroke=style.FAINT, width=0.6, kind="grid")
        drawing.text(
            (span[0] - 6, y.at(value) + 2.5),
            words.numbers.as_given(round(value, 6)),
            size=7,
            anchor="end",
            fill=style.SOFT,
        )


def axis_names(drawing: Drawing, x_name: str, y_name: str, height: float) -> None:
    """Names of both axes on the last line of a figure.

    Parameters
    ----------
    drawing : Drawing
        Where to draw.
    x_name, y_name : str
        Horizontal and vertical axis.
    height : float
        Height of the figure [pt].
    """
    drawing.text((style.WIDTH - 8, height - 3), x_name, size=7.5, anchor="end", fill=style.SOFT)
    drawing.text((0, height - 3), f"↑ {y_name}", size=7.5, fill=style.SOFT)
