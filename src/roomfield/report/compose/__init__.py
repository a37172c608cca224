"""From content to pages: which sentence, table and figure stands where; no layout and no computation."""

from roomfield.report.compose.blocks import Part, Sheet
from roomfield.report.compose.sheet import compose

__all__ = ["Part", "Sheet", "compose"]
