"""What a kind of level is called in tables, in the languages that they come in."""

from __future__ import annotations

import re

from roomfield.quantities.kind import Kind

KIND_WORDS: dict[Kind, tuple[str, ...]] = {
    Kind.HIGHEST_HELD: (
        "highest held", "held maximum", "peak hold", "max hold", "maxhold", "held", "hold", "maximum", "max", "massimo",
        "maximo", "maximalwert", "höchstwert", "gehaltener höchstwert", "höchstwert gehalten", "haltewert", "gehalten",
        "spitzenwert gehalten", "maximum tenu", "maximum retenu", "maximum maintenu", "valeur maximale tenue",
    ),
    Kind.PEAK: (
        "peak", "peak value", "pk", "spitze", "spitzenwert", "crête", "crete", "valeur de crête", "picco", "pico",
        "piek",
    ),
    Kind.AVERAGE: (
        "average", "avg", "mean", "time average", "rms", "mittelwert", "mittel", "durchschnitt", "moyenne", "moyen",
        "media", "medio", "promedio", "gemiddelde",
    ),
}  # fmt: skip
_BREAK = re.compile(r"(?<=[a-zà-ÿ])(?=[A-ZÀ-Þ])|[\W_\d]+")
_PHRASES = sorted(
    ((tuple(word.split()), kind) for kind, words in KIND_WORDS.items() for word in words),
    key=lambda item: -sum(map(len, item[0])),
)


def kind_in(text: str) -> Kind | None:
    """The kind that a heading or a remark names; the longest name wins, so that "max hold" is no "max" of a peak.

    Parameters
    ----------
    text : str
        Such as ``PeakPower [uW/m2]``, ``Mittelwert`` or ``max_hold``.
    """
    words = tuple(word.casefold() for word in _BREAK.split(text) if word)
    for phrase, kind in _PHRASES:
        if any(words[at : at + len(phrase)] == phrase for at in range(len(words))):
            return kind
    return None
