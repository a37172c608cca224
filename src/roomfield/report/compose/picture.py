"""A figure of the document: picture, caption, and the picture's own description as text alternative."""

from __future__ import annotations

from xml.sax.saxutils import unescape

from roomfield.report.compose.blocks import Figure


def picture(svg: str, caption: str) -> Figure:
    """Picture with caption; its ``desc`` element serves as text alternative.

    Parameters
    ----------
    svg : str
        As the figure functions return it.
    caption : str
        What stands under it.
    """
    start, end = svg.index("<desc>") + len("<desc>"), svg.index("</desc>")
    return Figure(svg, unescape(svg[start:end]), caption)
