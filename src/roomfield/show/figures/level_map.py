"""The map of levels on a storey: shaded bands, labelled contour lines, hatching where it is uncertain."""

from __future__ import annotations

import hashlib
import math
from itertools import pairwise
from typing import Any

from roomfield.quantities.level import HALF_WIDTH
from roomfield.show.drawings import LevelGrid, Point
from roomfield.show.figures import style
from roomfield.show.figures.storey_plan import (
    PlanFrame,
    draw_building,
    draw_emitters,
    draw_places,
    draw_scale_bar,
    frame,
)
from roomfield.show.figures.svg import Drawing, polyline_path
from roomfield.show.words import Words

_LEGEND = 44.0
_MAX_BANDS = 11
_FAR = 1e4
CELL_M = 0.8
"""Edge of the squares that tell their level [m]."""


def level_map(grid: LevelGrid, words: Words, *, touched: bool = False) -> str:
    """Contour map of a storey, as SVG.

    Parameters
    ----------
    grid : LevelGrid
        Levels [dB re 1 µW/m²] and their standard deviation [dB] on a regular grid.
    words : Words
        Language.
    touched : bool
        Whether each cell carries its level and interval, for a hand that touches it.
    """
    place = frame(grid.storey, width=style.WIDTH - _LEGEND)
    low, high = level_span(grid)
    title = words.say("figure.map.title", storey=grid.storey.name)
    alt = words.say("figure.map.alt", storey=grid.storey.name, low=low, high=high, step=contour_step(grid))
    drawing = Drawing(style.WIDTH, place.height, title, alt, "level-map")
    _bands(drawing, grid, place, (low, high))
    if grid.std_db:
        _hatching(drawing, grid, place)
    draw_building(drawing, grid.storey, place, names=False)
    _contours(drawing, grid, place, words)
    draw_emitters(drawing, grid.storey, place)
    draw_places(drawing, grid.storey, place)
    if touched:
        _cells(drawing, grid, place, words)
    draw_scale_bar(drawing, place, words)
    _legend(drawing, grid, (low, high), words)
    return drawing.svg()


def plain_level(level_db: float, words: Words) -> str:
    """A level [dB re 1 µW/m²] as the plain number of µW/m² that the tables give."""
    return words.numbers.micro(1e-6 * 10.0 ** (level_db / 10.0))


def _cells(drawing: Drawing, grid: LevelGrid, place: PlanFrame, words: Words) -> None:
    """Clear squares over the map, each with the level in its middle."""
    step = grid.x_m[1] - grid.x_m[0] if len(grid.x_m) > 1 else 1.0
    every = max(1, round(CELL_M / step))
    half = 0.5 * every * step
    for row in range(every // 2, len(grid.y_m), every):
        for column in range(every // 2, len(grid.x_m), every):
            level, std = grid.level_db[row][column], grid.std_db[row][column]
            if not math.isfinite(level):
                continue
            low, high = (plain_level(level + way * HALF_WIDTH * std, words) for way in (-1.0, 1.0))
            said = words.say("figure.map.cell", level=plain_level(level, words), low=low, high=high)
            x, y = grid.x_m[column], grid.y_m[row]
            corners = [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]
            drawing.polyline(
                [place.at(p) for p in corners], closed=True, stroke="", fill="transparent", kind="cell", said=said
            )


def level_span(grid: LevelGrid) -> tuple[float, float]:
    """Ends of the scale that frame the map, without the few extreme points next to an emitter [dB re 1 µW/m²].

    Parameters
    ----------
    grid : LevelGrid
        The map.
    """
    values = sorted(v for row in grid.level_db for v in row if math.isfinite(v)) or [0.0, 1.0]
    last = len(values) - 1
    low, high = values[round(0.01 * last)], values[round(0.995 * last)]
    step = grid.step_db
    while (high - low) / step > _MAX_BANDS - 1:
        step *= 2
    bottom = math.floor(low / step) * step
    return bottom, max(math.ceil(high / step) * step, bottom + step)


def contour_step(grid: LevelGrid) -> float:
    """Distance of the contour lines as drawn: the wanted one, doubled until the map is not crowded [dB]."""
    low, high = level_span(grid)
    step = grid.step_db
    while (high - low) / step > _MAX_BANDS:
        step *= 2
    return step


def contour_levels(grid: LevelGrid) -> list[float]:
    """Levels of the contour lines inside the map's span [dB re 1 µW/m²]."""
    low, high = level_span(grid)
    step = contour_step(grid)
    return [low + step * n for n in range(1, round((high - low) / step))]


def _generator(grid: LevelGrid, values: tuple[tuple[float, ...], ...]) -> Any:
    import contourpy
    import numpy as np

    z = np.ma.masked_invalid(np.asarray(values, dtype=float))
    return contourpy.contour_generator(
        np.asarray(grid.x_m), np.asarray(grid.y_m), z, name="serial", fill_type=contourpy.FillType.OuterOffset
    )


def _area_path(generator: Any, low: float, high: float, place: PlanFrame) -> str:
    parts = []
    for points, offsets in zip(*generator.filled(low, high), strict=True):
        for a, b in pairwise(offsets):
            parts.append(polyline_path([place.at((float(x), float(y))) for x, y in points[a:b]], closed=True))
    return "".join(parts)


def _bands(drawing: Drawing, grid: LevelGrid, place: PlanFrame, span: tuple[float, float]) -> None:
    generator = _generator(grid, grid.level_db)
    low, high = span
    step = contour_step(grid)
    count = round((high - low) / step)
    for n in range(count):
        lower = low + n * step if n else -_FAR
        upper = low + (n + 1) * step if n < count - 1 else _FAR
        path = _area_path(generator, lower, upper, place)
        if path:
            drawing.path(path, fill=style.level_colour(low + (n + 0.5) * step), kind="band")


def _hatching(drawing: Drawing, grid: LevelGrid, place: PlanFrame) -> None:
    top = max((v for row in grid.std_db for v in row if math.isfinite(v)), default=0.0)
    if top <= grid.hatch_above_db:
        return
    path = _area_path(_generator(grid, grid.std_db), grid.hatch_above_db, top + 1.0, place)
    if not path:
        return
    name = "hatch-" + hashlib.sha256(path.encode()).hexdigest()[:8]
    drawing.define(
        f'<pattern id="{name}" patternUnits="userSpaceOnUse" width="5" height="5" '
        'patternTransform="rotate(45)">'
        f'<line x1="0" y1="0" x2="0" y2="5" stroke="{style.PAPER}" stroke-width="1.6"/>'
        f'<line x1="1.2" y1="0" x2="1.2" y2="5" stroke="{style.INK}" stroke-width="0.5"/></pattern>'
    )
    drawing.path(path, fill=f"url(#{name})", kind="uncertain")


def _contours(drawing: Drawing, grid: LevelGrid, place: PlanFrame, words: Words) -> None:
    generator = _generator(grid, grid.level_db)
    labels: list[Point] = []
    for level in contour_levels(grid):
        lines = [[place.at((float(x), float(y))) for x, y in line] for line in generator.lines(level)]
        for line in lines:
            drawing.polyline(line, stroke=style.INK, width=0.6, kind="contour")
        if lines:
            _label(drawing, max(lines, key=_length), level, labels, words)


def _length(line: list[Point]) -> float:
    return sum(math.dist(a, b) for a, b in pairwise(line))


def _label(drawing: Drawing, line: list[Point], level: float, taken: list[Point], words: Words) -> None:
    """Puts the label where the line is far from other labels; very short lines stay without."""
    if _length(line) < 36:
        return
    inner = line[len(line) // 10 : len(line) - len(line) // 10] or line
    at = max(inner[:: max(1, len(inner) // 24)], key=lambda p: min((math.dist(p, t) for t in taken), default=0.0))
    if not taken:
        at = inner[len(inner) // 2]
    taken.append(at)
    drawing.text(
        (at[0], at[1] + 2.6),
        plain_level(level, words),
        size=7.5,
        anchor="middle",
        weight="600",
        halo=True,
        kind="contour-label",
    )


def _legend(drawing: Drawing, grid: LevelGrid, span: tuple[float, float], words: Words) -> None:
    low, high = span
    step = contour_step(grid)
    count = round((high - low) / step)
    x, top = drawing.width - _LEGEND + 8, 30.0
    height = min(18.0, (drawing.height - 70) / count)
    for n in range(count):
        y = top + height * (count - 1 - n)
        drawing.rect(
            (x, y), 12, height, fill=style.level_colour(low + (n + 0.5) * step), stroke=style.RULE, line_width=0.4
        )
    for n in range(count + 1):
        y = top + height * (count - n)
        drawing.text((x + 15, y + 2.4), plain_level(low + n * step, words), size=7, fill=style.SOFT)
    drawing.text((drawing.width, top - 8), words.say("figure.map.unit"), size=7, anchor="end", fill=style.SOFT)
