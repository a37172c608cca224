"""Which pulses a detector has to follow in a dwelling: those of its transmitters."""

from __future__ import annotations

from roomfield.references.technologies import technologies
from roomfield.survey import Survey


def shortest_pulse_s(survey: Survey) -> float | None:
    """The longest pulse of the technology whose pulses are shortest [s]; None if no technology is known.

    Parameters
    ----------
    survey : Survey
        Its emitters, and what its recordings were heard to hold, name technologies of the table.

    Notes
    -----
    A peak is reached if the detector follows the longest pulse of a technology, so the shorter ones do not matter.
    """
    named = {e.technology for e in survey.emitters}
    named |= {h.technology for r in survey.recordings for h in r.heard if h.probability >= 0.5}
    longest = [max(w.high_s for w in t.widths) for t in technologies() if t.name in named and t.widths]
    return min(longest, default=None)
