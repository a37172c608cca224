"""Numbers in words for the terminal: microwatts per square metre, three significant digits."""

from __future__ import annotations

from collections.abc import Sequence

_SIGN = {"below": "< ", "above": "> "}


def microwatts(density_w_m2: float | None, censored: str = "none") -> str:
    """A power density [W/m²] in µW/m²; a bound is shown with its sign."""
    if density_w_m2 is None:
        return ""
    if density_w_m2 == float("inf"):
        return "no upper end"
    value = density_w_m2 * 1e6
    rounded = float(f"{value:.3g}")
    digits = f"{rounded:,.0f}" if abs(rounded) >= 1000 else f"{rounded:g}"
    return _SIGN.get(censored, "") + digits.replace("-", "−")


def span(low_w_m2: float, high_w_m2: float) -> str:
    """An interval [W/m²] in µW/m²."""
    return f"{_end(low_w_m2)} to {_end(high_w_m2)}"


def _end(density_w_m2: float) -> str:
    """An end of an interval; an open one is shown as such."""
    if density_w_m2 in (float("inf"), float("-inf")):
        return "∞" if density_w_m2 > 0.0 else "−∞"
    return microwatts(density_w_m2)


def probability(chance: Sequence[float] | float | None) -> str:
    """A probability in per cent, or its range; never rounded to certainty."""
    if chance is None:
        return ""
    low, high = (chance, chance) if isinstance(chance, float) else (chance[0], chance[1])
    if low == high:
        return _percent(low)
    return f"{_percent(low)} to {_percent(high)}"


def _percent(chance: float) -> str:
    if chance > 0.999:
        return "> 99.9 %"
    return "< 0.1 %" if chance < 0.001 else f"{100 * chance:.1f} %"


def decibels(value_db: float) -> str:
    """Decibels with one decimal."""
    return f"{value_db:z.1f} dB"
