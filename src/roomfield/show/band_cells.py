"""Levels of single bands in short texts, for a table's rows: the same at every door."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from roomfield.quantities.censoring import Censoring
from roomfield.show.findings import BandLevel, BandTotal, Level
from roomfield.show.words import Words
from roomfield.show.words.sentences import category_text, level_median, level_range


@dataclass(frozen=True)
class BandCells:
    """A row about a band: its name with its ends, kind, level and interval in µW/m², share of the limit, category."""

    place: str
    band: str
    kind: str
    median: str
    interval: str
    share: str
    category: str


def band_cells(bands: Sequence[BandLevel], words: Words) -> tuple[BandCells, ...]:
    """Every band in words.

    Parameters
    ----------
    bands : sequence of BandLevel
        In the order of the rows.
    words : Words
        Language.
    """
    return tuple(
        BandCells(
            one.place,
            words.say("bands.named", name=one.band, low=one.low_hz, high=one.high_hz),
            words.say(f"kind.{one.kind.value}"),
            level_median(one.level, words),
            level_range(one.level, words),
            "" if one.share is None else share_text(one.share, words),
            category_text(one.verdict, words),
        )
        for one in bands
    )


def share_text(share: Level, words: Words) -> str:
    """A share of the limit with its interval, or as the bound that it is."""
    low, median, high = (100.0 * value for value in (share.low_w_m2, share.median_w_m2, share.high_w_m2))
    if share.censoring is Censoring.BELOW:
        return words.say("bands.share_below", high=high)
    if share.censoring is Censoring.ABOVE:
        return words.say("bands.share_above", low=low)
    return words.say("bands.share", median=median, low=low, high=high)


def total_sentence(one: BandTotal, words: Words) -> str:
    """All bands of a place together against the limit, as a sentence."""
    return words.say("bands.total", place=one.place, n=one.bands, share=share_text(one.share, words))
