"""A hand scan as it is shown: what is still missing, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.show.phrase import Phrase, phrase


@dataclass(frozen=True)
class ShownScan:
    """What the coach says at one moment of a scan.

    Parameters
    ----------
    seconds : float
        Length so far [s].
    shortfall_db, low_db, high_db : float
        How far the highest lies under the largest there is, with the ends of its 90 % interval [dB].
    enough_chance : float
        Probability that at most 1.5 dB are missing.
    advice : str
        ``listen``, ``slower``, ``turn``, ``sweep``, ``stay``, ``back``, ``again``, ``close`` or
        ``enough``.
    """

    seconds: float
    shortfall_db: float
    low_db: float
    high_db: float
    enough_chance: float
    advice: str

    def sentences(self) -> tuple[Phrase, ...]:
        """What is missing, and what helps."""
        if self.advice == "listen":
            return (phrase("coach.listen"),)
        missing = phrase(
            "coach.missing", at=self.seconds, shortfall=self.shortfall_db, low=self.low_db, high=self.high_db
        )
        return (missing, phrase(f"coach.{self.advice}", chance=self.enough_chance))
