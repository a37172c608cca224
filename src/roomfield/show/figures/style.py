"""One look for all figures: ink on paper, one accent, a single-hue scale."""

from __future__ import annotations

import math

INK = "#1b1f24"
SOFT = "#5b626b"
RULE = "#c9c6bd"
FAINT = "#e7e4dc"
PAPER = "#ffffff"
ACCENT = "#0f5a6e"
ACCENT_SOFT = "#9fc1c9"
ACCENT_PALE = "#dcebee"
FONT = "Source Sans Pro, Source Sans 3, Helvetica Neue, Arial, sans-serif"
WIDTH = 460.0
"""Width of a full figure; one unit is one point on the printed page."""

_HUE_DEG = 215.0


def shade(fraction: float) -> str:
    """Colour of the single-hue scale, from paper (0) to dark (1), even in perceived lightness.

    Formula: OKLCH to sRGB, B. Ottosson, "A perceptual color space for image processing" (2020).

    Parameters
    ----------
    fraction : float
        0 to 1; values outside are clipped.
    """
    f = min(1.0, max(0.0, fraction))
    lightness = 0.975 - 0.66 * f
    chroma = 0.004 + 0.068 * math.sin(math.pi * min(1.0, 0.80 * f))
    a = chroma * math.cos(math.radians(_HUE_DEG))
    b = chroma * math.sin(math.radians(_HUE_DEG))
    l_ = (lightness + 0.3963377774 * a + 0.2158037573 * b) ** 3
    m_ = (lightness - 0.1055613458 * a - 0.0638541728 * b) ** 3
    s_ = (lightness - 0.0894841775 * a - 1.2914855480 * b) ** 3
    linear = (
        4.0767416621 * l_ - 3.3077115913 * m_ + 0.2309699292 * s_,
        -1.2684380046 * l_ + 2.6097574011 * m_ - 0.3413193965 * s_,
        -0.0041960863 * l_ - 0.7034186147 * m_ + 1.7076147010 * s_,
    )
    return "#" + "".join(f"{_byte(c):02x}" for c in linear)


LEVELS_DB = (-20.0, 60.0)
"""Levels at the ends of the one scale of colours [dB re 1 µW/m²]: 0.01 to 1 000 000 µW/m²."""


def level_colour(level_db: float) -> str:
    """Colour of a level, the same on every storey, map, visit and page.

    Parameters
    ----------
    level_db : float
        Level [dB re 1 µW/m²]; levels beyond the ends of the scale get the colour of the end.
    """
    low, high = LEVELS_DB
    return shade(0.04 + 0.76 * min(1.0, max(0.0, (level_db - low) / (high - low))))


def is_dark(level_db: float) -> bool:
    """Whether light text is to stand on the colour of a level."""
    return level_db > 0.5 * sum(LEVELS_DB)


def _byte(linear: float) -> int:
    c = min(1.0, max(0.0, linear))
    encoded = 12.92 * c if c <= 0.0031308 else 1.055 * c ** (1 / 2.4) - 0.055
    return round(255 * encoded)
