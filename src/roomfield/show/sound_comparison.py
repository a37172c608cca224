"""Two recordings as they are shown together: what came and went, whose clock it is, whether more is sent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from roomfield.show.phrase import Phrase, Told, phrase

MOST_ODDS = 1000.0


@dataclass(frozen=True)
class ShownClock:
    """A sender's clock in both recordings.

    Parameters
    ----------
    title : str
        Technology in words.
    difference_ppm, low_ppm, high_ppm : float
        Difference with its 95 % interval, the recorder's share taken off [ppm].
    odds : float
        For one sender against another of the kind.
    verdict : str
        ``same``, ``other`` or ``open``.
    """

    title: str
    difference_ppm: float
    low_ppm: float
    high_ppm: float
    odds: float
    verdict: str

    def sentence(self) -> Phrase:
        """The clock in words; odds below one are turned round."""
        odds = max(self.odds, 1 / max(self.odds, 1e-12))
        much = phrase("compare.odds_over", odds=MOST_ODDS) if odds > MOST_ODDS else phrase("compare.odds", odds=odds)
        ends = {"low": self.low_ppm, "high": self.high_ppm, "off": self.difference_ppm}
        key = f"compare.clock_{self.verdict}"
        return phrase(key, name=Told(self.title), odds=much, **ends)


@dataclass(frozen=True)
class ShownActivity:
    """How much is sent in both recordings: per second, or bursts in each frame; 95 % interval of the ratio."""

    title: str
    measure: str
    first: float
    second: float
    low: float
    high: float
    verdict: str

    def sentence(self) -> Phrase:
        """The change in words."""
        key = f"compare.{self.measure}_{self.verdict}"
        values = {"first": self.first, "second": self.second, "low": self.low, "high": self.high}
        return phrase(key, name=Told(self.title), **values)


@dataclass(frozen=True)
class ShownRecordingComparison:
    """What two recordings say together.

    Parameters
    ----------
    gone, new, both : sequence of str
        Technologies in words: heard in the first only, in the second only, in both.
    clocks : sequence of ShownClock
    activity : sequence of ShownActivity
    recorder_ppm, recorder_std_ppm : float
        Shift of the recorder's clock from the first to the second [ppm], and its standard deviation.
    told_by : sequence of str
        Technologies that told it, in words; empty if it is assumed.
    """

    gone: Sequence[str]
    new: Sequence[str]
    both: Sequence[str]
    clocks: Sequence[ShownClock]
    activity: Sequence[ShownActivity]
    recorder_ppm: float
    recorder_std_ppm: float
    told_by: Sequence[str]

    def sentences(self) -> tuple[Phrase, ...]:
        """The comparison in words, the plainest first."""
        heard = [
            *(phrase("compare.gone", name=Told(title)) for title in self.gone),
            *(phrase("compare.new", name=Told(title)) for title in self.new),
        ]
        if not heard:
            heard = [phrase("compare.alike")] if self.both else [phrase("compare.nothing")]
        told = [*heard, *(one.sentence() for one in self.clocks), *(one.sentence() for one in self.activity)]
        if self.clocks:
            told.append(self._recorder())
        if self.activity or self.gone or self.new:
            told.append(phrase("compare.volume"))
        return tuple(told)

    def _recorder(self) -> Phrase:
        values = {"off": self.recorder_ppm, "std": self.recorder_std_ppm}
        if self.told_by:
            return phrase("compare.recorder_told", name=Told(self.told_by[0]), **values)
        return phrase("compare.recorder_assumed", **values)
