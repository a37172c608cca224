"""Names of materials as drawings have them, to the materials that are known; what is not recognised is told.

Words are whole words of English, German and French; which of ours stands for them is our judgement, no source.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import cache

from roomfield.references.materials import materials
from roomfield.survey.dwelling import Layer

_WORDS = {
    "concrete": "concrete|beton|stahlbeton|screed|estrich|chape|cement|zement|ciment",
    "aerated concrete": "aerated concrete|porenbeton|gasbeton|beton cellulaire",
    "brick": "brick|bricks|brickwork|masonry|ziegel|ziegelstein|backstein|mauerwerk|brique|briques|maconnerie",
    "plasterboard": "plasterboard|gypsum|gypsum board|drywall|gips|gipskarton|gipskartonplatte|platre|plaque de platre",
    "wood": "wood|timber|holz|massivholz|bois|oak|eiche|chene|spruce|fichte|epicea|pine",
    "glass": "glass|glazing|glas|verglasung|verre|vitrage",
    "chipboard": "chipboard|particleboard|osb|spanplatte|spanplatten|agglomere",
    "plywood": "plywood|sperrholz|contreplaque",
    "marble": "marble|marmor|marbre",
    "metal": "metal|steel|aluminium|aluminum|stahl|metall|acier|blech|iron|eisen",
    "floorboard": "floorboard|parquet|parkett|dielen|plancher",
    "ceiling board": "ceiling board|ceiling tile|deckenplatte",
    "air": "air|air gap|cavity|luft|luftschicht|lame d air|argon|insulation|dammung|warmedammung|mineral wool"
    "|mineralwolle|glass wool|glaswolle|rock wool|steinwolle|laine|laine minerale|laine de verre|isolant|isolation"
    "|eps|xps",
}
"""Insulation is mostly air. A name that holds words of several materials is not decided, but for a metal among them."""
_DECIDES = "metal"


def _plain(text: str) -> str:
    bare = "".join(c for c in unicodedata.normalize("NFKD", text.casefold()) if not unicodedata.combining(c))
    return " ".join(re.sub(r"[^a-z0-9]+", " ", bare).split())


@cache
def _by_word() -> dict[str, str]:
    return {word: ours for ours, words in _WORDS.items() for word in words.split("|")}


def known_material(name: str) -> str:
    """The material that a name in a drawing means; empty if it is not recognised, or could be one of several.

    Parameters
    ----------
    name : str
        Such as ``Brickwork, outer leaf`` or ``Stahlbeton C25/30``.
    """
    own = {_plain(one.name): one.name for one in materials()}
    table = {**own, **_by_word()}
    plain = _plain(name)
    if plain in own:
        return own[plain]
    left, found = f" {plain} ", set()
    for word in sorted(table, key=len, reverse=True):  # a longer name holds shorter ones: aerated concrete, glass wool
        if f" {word} " in left:
            found.add(table[word])
            left = left.replace(f" {word} ", "  ")
    if _DECIDES in found:
        return _DECIDES
    return next(iter(found)) if len(found) == 1 else ""


def known_layers(named: Iterable[tuple[str, float]], remarks: list[str]) -> tuple[Layer, ...]:
    """Build-up of a wall as far as its materials are known; what is not is told and left out.

    Parameters
    ----------
    named : iterable of (str, float)
        Material as a drawing names it, and thickness [m].
    remarks : list of str
        Gets one sentence for each name that is left out, or taken as another.
    """
    layers = []
    for name, thickness_m in named:
        found = known_material(name)
        if found:
            layers.append(Layer(found, thickness_m))
        if _plain(name) == _plain(found):
            continue
        said = (
            f"material {name[:60]!r} was taken as {found}."
            if found
            else f"material {name[:60]!r} is not known and was left out: check the walls that have it."
        )
        if said not in remarks:
            remarks.append(said)
    return tuple(layers)
