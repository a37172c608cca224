"""What a heading says: the unit of its numbers, and the name that is left without it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from roomfield.errors import UnknownNameError
from roomfield.quantities.convert import canonical_unit

_BRACKETED = re.compile(r"^(?P<name>.*?)[\[(](?P<unit>[^\])]*)[\])]\s*$")
_OTHER_UNITS = frozenset({"deg", "degrees", "grad", "°", "mhz", "ghz", "hz", "m", "s"})
"""Units that are no unit of a level: they part from the name, and nothing is converted."""


def split_unit(header: str, more: Sequence[str] = ()) -> tuple[str, str, str]:
    """Name, unit in our spelling, and a unit that stands there but is none of a level, each empty if there is none.

    Parameters
    ----------
    header : str
        As it stands in the file, such as ``Peak [µW/m²]`` or ``level_uw_m2``.
    more : sequence of str
        Units that columns of such a table have beside those of a level.
    """
    bracketed = _BRACKETED.match(header)
    if bracketed:
        name, text = bracketed["name"], bracketed["unit"]
        unit = unit_or_nothing(text, more)
        return name, unit, "" if unit else text.strip()
    if unit := unit_or_nothing(header, more):
        return "", unit, ""
    for cut in re.finditer(r"[\s_,:]+", header):
        if unit := unit_or_nothing(header[cut.end() :], more):
            name = re.sub(r"\b(in|en)\s*$", "", header[: cut.start()], flags=re.IGNORECASE)
            return name, unit, ""
    return header, "", ""


def without_other_unit(header: str) -> str:
    """A heading without a unit that is none of a level, such as ``bearing deg``; as it stands if it ends in none."""
    name, _, last = header.strip().rpartition(" ")
    return name if last.casefold() in _OTHER_UNITS else header


def unit_or_nothing(text: str, more: Sequence[str] = ()) -> str:
    """A unit in our spelling, also from column names such as ``uw_m2``; empty if it is none.

    Parameters
    ----------
    text : str
        As written.
    more : sequence of str
        Units beside those of a level that may stand there.
    """
    plain = unicodedata.normalize("NFKC", text.strip().replace("²", "2")).replace("\u03bc", "u").replace("µ", "u")
    for spelling in (plain, re.sub(r"(?i)^(d?b?[munw]*[wvm])[_ ](per[_ ])?(c?m)", r"\1/\3", plain)):
        try:
            return canonical_unit(spelling)
        except UnknownNameError:
            continue
    return next((unit for unit in more if unit.casefold() == plain.replace(" ", "").casefold()), "")


def plain_heading(name: str) -> str:
    """A heading without what does not matter when headings are compared: case, signs, blanks."""
    letters = unicodedata.normalize("NFC", name).casefold()
    return " ".join(re.sub(r"[^\w]|_", " ", letters).split())
