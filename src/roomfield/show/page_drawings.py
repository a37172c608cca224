"""Places on the small drawings of the pages: the axis of levels, shades, changes, lines and outlines of a plan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from roomfield.show.trade_units import MICROWATT_M2

LOW_UW_M2, HIGH_UW_M2 = 1e-3, 1e7
LEFT, RIGHT = 92.0, 628.0
"""Ends of the axis of levels [drawing unit]."""
TONES = 6
WIDEST_DB = 30.0
"""Change [dB] at the ends of the axis of changes."""
HALF_AXIS = 150.0
LINE_WIDTH, LINE_TOP, LINE_BOTTOM = 400.0, 8.0, 112.0


def axis_x(level_w_m2: float) -> float:
    """Place on the axis of levels [drawing unit]; what lies beyond an end stands at the end.

    Parameters
    ----------
    level_w_m2 : float
        Power density [W/m²].
    """
    level = min(HIGH_UW_M2, max(LOW_UW_M2, MICROWATT_M2.shown(level_w_m2)))
    share = (math.log10(level) - math.log10(LOW_UW_M2)) / (math.log10(HIGH_UW_M2) - math.log10(LOW_UW_M2))
    return round(LEFT + share * (RIGHT - LEFT), 1)


def axis_ticks() -> tuple[tuple[float, float], ...]:
    """Each power of ten on the axis of levels: its exponent in µW/m², and its place [drawing unit]."""
    low, high = round(math.log10(LOW_UW_M2)), round(math.log10(HIGH_UW_M2))
    return tuple((power, axis_x(MICROWATT_M2.si(10.0**power))) for power in range(low, high + 1))


def tone_of(level_w_m2: float) -> int:
    """Shade of a level: 1 below 1 µW/m², one more for each factor of ten, 6 from 10 mW/m² on.

    Parameters
    ----------
    level_w_m2 : float
        Power density [W/m²].
    """
    if not level_w_m2 > 0.0:
        return 1
    return min(TONES, max(1, math.floor(math.log10(MICROWATT_M2.shown(level_w_m2))) + 2))


def change_x(change_db: float) -> float:
    """Place of a change on an axis 300 wide with none in the middle [drawing unit].

    Parameters
    ----------
    change_db : float
        Change [dB].
    """
    return round(HALF_AXIS + HALF_AXIS * max(-WIDEST_DB, min(WIDEST_DB, change_db)) / WIDEST_DB, 1)


def bar_y(value: float, top: float) -> float:
    """Height at which a bar ends on a drawing 100 high, whose zero is at the bottom.

    Parameters
    ----------
    value, top : float
        The value, and the one that reaches to 4 below the upper edge, in one unit.
    """
    return 100.0 - 96.0 * value / top


def curve_path(levels: Sequence[float]) -> str:
    """A line through levels at even steps, from the lowest to the highest over the height of the drawing.

    Parameters
    ----------
    levels : sequence of float
        In any unit; empty for a flat line.
    """
    numbers = [float(level) for level in levels] or [0.0]
    low, high = min(numbers), max(numbers)
    span = (high - low) or 1.0
    step = LINE_WIDTH / max(1, len(numbers) - 1)
    height = LINE_BOTTOM - LINE_TOP
    points = (f"{n * step:.1f} {LINE_BOTTOM - (level - low) / span * height:.1f}" for n, level in enumerate(numbers))
    return "M" + "L".join(points)


@dataclass(frozen=True)
class BoundingBox:
    """The smallest rectangle along the axes around points of a plan [m]."""

    west_m: float
    south_m: float
    width_m: float
    depth_m: float

    def view(self, margin_m: float) -> str:
        """The view of a drawing with the y axis down, with a margin [m] around it."""
        top = -(self.south_m + self.depth_m) - margin_m
        wide, deep = self.width_m + 2.0 * margin_m, self.depth_m + 2.0 * margin_m
        return f"{self.west_m - margin_m:g} {top:g} {wide:g} {deep:g}"


def bounding_box(points: Sequence[tuple[float, float]]) -> BoundingBox:
    """The rectangle around points.

    Parameters
    ----------
    points : sequence of (float, float)
        Metres east and north; at least one.
    """
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return BoundingBox(min(xs), min(ys), max(xs) - min(xs), max(ys) - min(ys))
