"""A night of sound as it is shown: how loud it was, when the highest came, who made it, and what sound cannot tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from roomfield.show.phrase import Phrase, phrase

DOUBTED_LAW = 0.9
CALIBRATION_OFF_DB = 2.0


@dataclass(frozen=True)
class ShownLevel:
    """A level with the ends of its 90 % interval [W/m2]."""

    median: float
    low: float
    high: float


@dataclass(frozen=True)
class ShownNight:
    """What a night of sound says.

    Parameters
    ----------
    seconds : int
        Length [s].
    average : ShownLevel
        Mean over the whole recording.
    highest : ShownLevel
        Highest instantaneous level.
    highest_at_s : float
        When it came, from the start of the recording [s].
    highest_of : str
        Technology that makes most of that second's bursts; empty if none was heard.
    technologies : mapping of str to ShownLevel
        Mean over the whole recording by technology.
    law, law_probability : str, float
        Detector law and how sure it is.
    worst_residual_db : float
        Largest difference between display and sound [dB].
    clipped_seconds : int
        Seconds in which the recorder was overdriven.
    bound_only : bool
        Whether what never pauses made no sound, so that averages are lower bounds for it.
    """

    seconds: int
    average: ShownLevel
    highest: ShownLevel
    highest_at_s: float
    highest_of: str
    technologies: Mapping[str, ShownLevel]
    law: str
    law_probability: float
    worst_residual_db: float
    clipped_seconds: int
    bound_only: bool

    def sentences(self) -> tuple[Phrase, ...]:
        """The night in words, the plainest first."""
        return (
            phrase("night.average", length=_clock(self.seconds), **_ends(self.average)),
            self._highest(),
            *(
                phrase("night.technology", name=name, **_ends(level))
                for name, level in sorted(self.technologies.items(), key=lambda item: -item[1].median)
            ),
            *self._cautions(),
        )

    def _highest(self) -> Phrase:
        key = "night.highest_of" if self.highest_of else "night.highest"
        return phrase(key, at=_clock(self.highest_at_s), name=self.highest_of, **_ends(self.highest))

    def _cautions(self) -> tuple[Phrase, ...]:
        told = []
        if self.bound_only:
            told.append(phrase("night.bound_only"))
        if self.law_probability < DOUBTED_LAW:
            told.append(phrase("night.law_doubted", law=phrase(f"night.law.{self.law}"), chance=self.law_probability))
        if self.worst_residual_db > CALIBRATION_OFF_DB:
            told.append(phrase("night.calibration_off", off=self.worst_residual_db))
        if self.clipped_seconds:
            told.append(phrase("night.clipped", n=self.clipped_seconds))
        return tuple(told)


def _ends(level: ShownLevel) -> dict[str, float]:
    return {"median": level.median, "low": level.low, "high": level.high}


def _clock(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
