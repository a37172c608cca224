"""A small SVG writer: presentation attributes only, so that a strict content policy shows it unchanged."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape, quoteattr

from roomfield.show.figures import style

Point = tuple[float, float]

_NARROW = frozenset("iIjl.,:;'|!()[]/ ftr\u202f\u00a0")
_WIDE = frozenset("mwMWQ@%ÆŒæœ…—")


def text_width(text: str, size: float) -> float:
    """Estimated width of a line of text [same unit as ``size`` (font size)]."""
    total = 0.0
    for ch in text:
        if ch in _NARROW:
            total += 0.30
        elif ch in _WIDE or ord(ch) >= 0x2E80:
            total += 0.86
        elif ch.isupper():
            total += 0.60
        else:
            total += 0.51
    return total * size


def fitted(text: str, width: float, size: float) -> str:
    """Text cut with an ellipsis so that it fits into a width."""
    text = " ".join(text.split())
    if text_width(text, size) <= width:
        return text
    kept = text
    while kept and text_width(kept + "…", size) > width:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def number(value: float) -> str:
    """A coordinate with at most two decimals."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text


class Drawing:
    """Collects SVG elements and gives them back as one string.

    Parameters
    ----------
    width, height : float
        Size of the view box [pt].
    title, description : str
        What assistive technology reads.
    kind : str
        Class of the root element.
    """

    def __init__(self, width: float, height: float, title: str, description: str, kind: str) -> None:
        self.width, self.height = width, height
        self._title, self._description, self._kind = title, description, kind
        self._body: list[str] = []
        self._defs: list[str] = []

    def _add(self, name: str, attributes: dict[str, object], content: str | None = None) -> None:
        parts = [name]
        for key, value in attributes.items():
            if value is None or value == "":
                continue
            shown = f'"{number(value)}"' if isinstance(value, float) else quoteattr(str(value))
            parts.append(f"{key.rstrip('_').replace('_', '-')}={shown}")
        opened = " ".join(parts)
        self._body.append(f"<{opened}/>" if content is None else f"<{opened}>{content}</{name}>")

    def line(
        self,
        a: Point,
        b: Point,
        *,
        stroke: str = style.INK,
        width: float = 0.6,
        dash: str = "",
        kind: str = "",
    ) -> None:
        """A straight line."""
        self._add(
            "line",
            {
                "class_": kind,
                "x1": float(a[0]),
                "y1": float(a[1]),
                "x2": float(b[0]),
                "y2": float(b[1]),
                "stroke": stroke,
                "stroke_width": float(width),
                "stroke_dasharray": dash,
            },
        )

    def rect(
        self,
        corner: Point,
        width: float,
        height: float,
        *,
        fill: str = "none",
        stroke: str = "",
        line_width: float = 0.6,
        kind: str = "",
        radius: float = 0.0,
    ) -> None:
        """A rectangle from its upper left corner."""
        self._add(
            "rect",
            {
                "class_": kind,
                "x": float(corner[0]),
                "y": float(corner[1]),
                "width": float(max(0.0, width)),
                "height": float(max(0.0, height)),
                "rx": float(radius) if radius else None,
                "fill": fill,
                "stroke": stroke or None,
                "stroke_width": float(line_width) if stroke else None,
            },
        )

    def circle(
        self,
        centre: Point,
        radius: float,
        *,
        fill: str = "none",
        stroke: str = "",
        line_width: float = 0.8,
        kind: str = "",
    ) -> None:
        """A circle."""
        self._add(
            "circle",
            {
                "class_": kind,
                "cx": float(centre[0]),
                "cy": float(centre[1]),
                "r": float(radius),
                "fill": fill,
                "stroke": stroke or None,
                "stroke_width": float(line_width) if stroke else None,
            },
        )

    def polyline(
        self,
        points: Sequence[Point],
        *,
        stroke: str = style.INK,
        width: float = 0.8,
        fill: str = "none",
        closed: bool = False,
        dash: str = "",
        kind: str = "",
        said: str = "",
    ) -> None:
        """A line through points, or a closed polygon; ``said`` is told where a hand touches it."""
        if points:
            self.path(
                polyline_path(points, closed=closed),
                stroke=stroke,
                width=width,
                fill=fill,
                dash=dash,
                kind=kind,
                said=said,
            )

    def path(
        self,
        d: str,
        *,
        stroke: str = "",
        width: float = 0.8,
        fill: str = "none",
        dash: str = "",
        kind: str = "",
        said: str = "",
    ) -> None:
        """A path given by its data; ``said`` is told where a hand touches it."""
        self._add(
            "path",
            {
                "class_": kind,
                "d": d,
                "fill": fill,
                "fill_rule": "evenodd" if fill != "none" else "",
                "stroke": stroke or None,
                "stroke_width": float(width) if stroke else None,
                "stroke_dasharray": dash,
                "stroke_linejoin": "round" if stroke else "",
                "data_words": said,
            },
        )

    def text(
        self,
        at: Point,
        text: str,
        *,
        size: float = 8.0,
        anchor: str = "",
        fill: str = style.INK,
        weight: str = "",
        kind: str = "",
        halo: bool = False,
    ) -> None:
        """A line of text; ``halo`` draws paper behind it."""
        attributes: dict[str, object] = {
            "class_": kind,
            "x": float(at[0]),
            "y": float(at[1]),
            "font_size": float(size),
            "text_anchor": anchor,
            "font_weight": weight,
        }
        if halo:
            attributes |= {
                "stroke": style.PAPER,
                "stroke_width": 2.4,
                "stroke_linejoin": "round",
                "paint_order": "stroke",
            }
        self._add("text", {**attributes, "fill": fill}, escape(text))

    def define(self, definition: str) -> None:
        """A definition such as a pattern, written by the figure itself, never from user text."""
        self._defs.append(definition)

    def svg(self) -> str:
        """The whole picture."""
        defs = f"<defs>{''.join(self._defs)}</defs>" if self._defs else ""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="rf-figure rf-{self._kind}" role="img" '
            f'viewBox="0 0 {number(self.width)} {number(self.height)}" width="{number(self.width)}" '
            f'height="{number(self.height)}" font-family={quoteattr(style.FONT)} font-size="8">'
            f"<title>{escape(self._title)}</title><desc>{escape(self._description)}</desc>"
            f"{defs}{''.join(self._body)}</svg>"
        )


def polyline_path(points: Iterable[Point], *, closed: bool = False) -> str:
    """Path data through points."""
    steps = "L".join(f"{number(x)} {number(y)}" for x, y in points)
    return f"M{steps}{'Z' if closed else ''}"
