"""A night of sound as it is shown: how loud it was, when the highest came, who made it, and what sound cannot tell."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from datetime import datetime, timedelta
from typing import Any

from roomfield.references.technologies import technology
from roomfield.show.phrase import Phrase, Text, Told, phrase

DOUBTED_LAW = 0.9
CALIBRATION_OFF_DB = 2.0


@dataclass(frozen=True)
class ShownLevel:
    """A level with the ends of its 90 % interval [W/m2]."""

    median: float
    low: float
    high: float


@dataclass(frozen=True)
class ShownHold:
    """A highest held that the display showed, joined to the second of the night that made it.

    Parameters
    ----------
    value : float
        As the display showed it [W/m2].
    read_at_s, at_s : float
        When it was read, and when it came, from the start of the recording [s].
    of : str
        Technology that makes most of that second's bursts; empty if none was heard.
    rivals : int
        Other seconds within its own error of the same height, any of which may have made it.
    """

    value: float
    read_at_s: float
    at_s: float
    of: str
    rivals: int


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
    began_at : str
        Start of the recording (ISO 8601 with offset); empty if it is not known.
    hold : ShownHold or None
        The last highest held that was read off the display; None if none was.
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
    began_at: str = ""
    hold: ShownHold | None = None

    def sentences(self) -> tuple[Phrase, ...]:
        """The night in words, the plainest first."""
        return (
            phrase("night.average", length=_clock(self.seconds), **_ends(self.average)),
            self._highest(),
            *self._hold(),
            *(
                phrase("night.technology", name=night_sender(name), **_ends(level))
                for name, level in sorted(self.technologies.items(), key=lambda item: -item[1].median)
            ),
            *self._cautions(),
        )

    def to_plain(self) -> dict[str, Any]:
        """As plain values, to be kept; an upper end without bound is None."""
        plain = asdict(self)
        plain["technologies"] = {name: _closed(asdict(level)) for name, level in self.technologies.items()}
        return plain | {"average": _closed(asdict(self.average)), "highest": _closed(asdict(self.highest))}

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> ShownNight:
        """From plain values that were kept; what a later edition added is passed over.

        Parameters
        ----------
        plain : mapping
            As `to_plain` gives them.
        """
        known = {name: value for name, value in plain.items() if name in {field.name for field in fields(cls)}}
        levels = {name: _level(level) for name, level in plain["technologies"].items()}
        ends = {"average": _level(plain["average"]), "highest": _level(plain["highest"])}
        hold = ShownHold(**plain["hold"]) if plain.get("hold") else None
        return cls(**(known | ends | {"technologies": levels, "hold": hold}))

    def when(self, at_s: float) -> Phrase:
        """A moment of the night: by the clock, if it is known when the recording began.

        Parameters
        ----------
        at_s : float
            From the start of the recording [s].
        """
        if not self.began_at:
            return phrase("night.after_start", at=_clock(at_s))
        moment = datetime.fromisoformat(self.began_at) + timedelta(seconds=round(at_s))
        return phrase("night.by_clock", at=_clock(at_s), clock=moment.strftime("%H:%M:%S"))

    def _highest(self) -> Phrase:
        key = "night.highest_of" if self.highest_of else "night.highest"
        when, name = self.when(self.highest_at_s), night_sender(self.highest_of)
        return phrase(key, when=when, name=name, **_ends(self.highest))

    def _hold(self) -> tuple[Phrase, ...]:
        """When the highest held that was read in the end came, and from whom; nothing is claimed where seconds tie."""
        if self.hold is None:
            return ()
        read, came = self.when(self.hold.read_at_s), self.when(self.hold.at_s)
        if self.hold.rivals:
            told = phrase("night.hold_tied", value=self.hold.value, read=read, came=came, n=self.hold.rivals)
        elif self.hold.of:
            name = night_sender(self.hold.of)
            told = phrase("night.hold_of", value=self.hold.value, read=read, came=came, name=name)
        else:
            told = phrase("night.hold", value=self.hold.value, read=read, came=came)
        return (told,)

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


def night_sender(name: str) -> Text:
    """Who sends, by title; technologies that cannot be told apart stand together.

    Parameters
    ----------
    name : str
        Keys of technologies, joined by "+"; may be empty.
    """
    if not name:
        return ""
    titles = [Told(technology(one).title) for one in name.split("+")]
    told: Text = titles[-1]
    for title in reversed(titles[:-1]):
        told = phrase("night.or", first=title, other=told)
    return told


def _closed(level: dict[str, float]) -> dict[str, float | None]:
    return {name: value if math.isfinite(value) else None for name, value in level.items()}


def _level(plain: Mapping[str, float | None]) -> ShownLevel:
    ends = (plain[name] for name in ("median", "low", "high"))
    return ShownLevel(*(math.inf if end is None else float(end) for end in ends))


def _ends(level: ShownLevel) -> dict[str, float]:
    return {"median": level.median, "low": level.low, "high": level.high}


def _clock(seconds: float) -> str:
    whole = round(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"
