"""What was heard in recordings, as a likelihood of who makes the level there.

A listening step says with what probability a technology is in a recording. It can be heard if its emitters make a
large enough part of the power while all transmit; so a technology heard, or not heard, bounds their part. With ``a``
the probability that a part is audible and ``q`` the listening step's answer, the likelihood is
``a q / b + (1 - a) (1 - q) / (1 - b)`` for the share of recordings ``b`` in which a technology is present: Bayes'
rule turned round (a calibrated probability over its base rate).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.survey import Emitter, Recording, Survey

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Mask = NDArray[np.bool_]

AUDIBLE_DB, AUDIBLE_WIDTH_DB = -15.0, 3.0
"""A technology this far under the sum of all is heard every second time (detectors in a meter span 20 to 30 dB;
our judgement)."""
BASE_RATE = 0.3
"""How often a technology that is in the record is in a recording, before it is heard (our judgement)."""
LEAST_PROBABILITY, MOST_PROBABILITY = 0.02, 0.95
"""Answers are not taken for surer than this: a recording is short, and its gain may have been wrong."""
FAMILIES = (
    ("wifi", ("wifi", "wlan", "router", "access_point")), ("dect", ("dect", "cordless")), ("gsm", ("gsm",)),
    ("umts", ("umts",)), ("lte", ("lte",)), ("nr_", ("nr_",)), ("bluetooth", ("bluetooth",)), ("zigbee", ("zigbee",)),
    ("smart_meter", ("smart_meter",)), ("lora", ("lora",)), ("tetra", ("tetra",)), ("dvbt", ("dvb",)),
)  # fmt: skip
"""How a technology heard begins, and the words by which emitters of that family are named in the record."""


@dataclass(frozen=True, eq=False)
class HeardRows:
    """One row per recording and family of technologies that the record has an emitter of.

    Parameters
    ----------
    ids : tuple of str
        Recordings.
    site : ndarray of int, shape (h,)
        Where.
    on, members : ndarray of bool, shape (h, k)
        Emitters that were on, and those of the family among them.
    ratio_there, ratio_absent : ndarray, shape (h,)
        Likelihood of the answer if the family is audible, and if not.
    """

    ids: tuple[str, ...]
    site: Indices
    on: Mask
    members: Mask
    ratio_there: Array
    ratio_absent: Array

    def __len__(self) -> int:
        return len(self.site)

    def log_likelihood(self, level_db: Array) -> tuple[Array, Array]:
        """Log likelihood and its derivative by the levels.

        Parameters
        ----------
        level_db : ndarray, shape (n, k, p)
            Of each emitter at each site while on air [dB].

        Returns
        -------
        value : ndarray, shape (n,)
        gradient : ndarray, shape (n, k, p)
        """
        here = np.where(self.on, np.swapaxes(level_db[:, :, self.site], 1, 2), -400.0)
        top = here.max(axis=2, keepdims=True)
        power = 10.0 ** ((here - top) / 10.0)
        share = power / power.sum(axis=2, keepdims=True)
        part = np.maximum(np.sum(share * self.members, axis=2), 1e-12)
        audible = 0.5 * (1.0 + np.tanh(0.5 * (10.0 * np.log10(part) - AUDIBLE_DB) / AUDIBLE_WIDTH_DB))
        likelihood = audible * self.ratio_there + (1.0 - audible) * self.ratio_absent
        slope = (self.ratio_there - self.ratio_absent) * audible * (1.0 - audible) / AUDIBLE_WIDTH_DB / likelihood
        by_level = slope[..., None] * share * (self.members / part[..., None] - 1.0)
        back = np.zeros((len(self), level_db.shape[2]))
        back[np.arange(len(self)), self.site] = 1.0
        gradient = np.asarray(np.swapaxes(by_level, 1, 2) @ back)
        return np.log(likelihood).sum(axis=1), gradient


def family_of(technology: str) -> str:
    """Family of a technology heard; empty if the record cannot name emitters of it."""
    return next((name for name, _ in FAMILIES if technology.startswith(name)), "")


def in_family(emitter: Emitter, family: str) -> bool:
    """Whether an emitter is of a family, by its technology in the record."""
    words = next((words for name, words in FAMILIES if name == family), ())
    return any(word in emitter.technology for word in words)


def listened(survey: Survey, visit_id: str | None) -> list[Recording]:
    """Recordings that were analysed and whose place is known."""
    return [
        r for r in survey.current_recordings()
        if visit_id in (None, r.visit_id) and (r.heard or r.analysed_with) and position_of(survey, r) is not None
    ]  # fmt: skip


def position_of(survey: Survey, recording: Recording) -> tuple[float, float, float] | None:
    """Where a recording was made; None if not known."""
    if recording.position is not None or not recording.place_id:
        return recording.position
    return survey.place(recording.place_id).position


def heard_rows(survey: Survey, recordings: list[Recording], sites: list[int], on: list[tuple[bool, ...]]) -> HeardRows:
    """Rows of recordings.

    Parameters
    ----------
    recordings : list of Recording
        Those to be used.
    sites : list of int
        Site of each.
    on : list of tuple of bool
        Which emitters were on in each.
    """
    k, rows = len(survey.emitters), []
    for recording, site, state in zip(recordings, sites, on, strict=True):
        for family in dict.fromkeys(name for name, _ in FAMILIES):
            members = np.array([in_family(e, family) for e in survey.emitters]) & np.array(state)
            if np.any(members) and not np.all(members[np.array(state)]):
                rows.append((recording.id, site, state, members, _answer(recording, family)))
    answer = np.array([r[4] for r in rows], dtype=np.float64)
    return HeardRows(
        tuple(r[0] for r in rows), np.array([r[1] for r in rows], dtype=np.int64),
        np.array([r[2] for r in rows], dtype=bool).reshape(-1, k),
        np.array([r[3] for r in rows], dtype=bool).reshape(-1, k),
        answer / BASE_RATE, (1.0 - answer) / (1.0 - BASE_RATE),
    )  # fmt: skip


def _answer(recording: Recording, family: str) -> float:
    """Probability that any technology of a family is in a recording, within the bounds to which it is believed."""
    found = [h.probability for h in recording.heard if family_of(h.technology) == family]
    return float(np.clip(max(found, default=0.0), LEAST_PROBABILITY, MOST_PROBABILITY))


def unexplained(survey: Survey, visit_id: str | None) -> tuple[tuple[str, str], ...]:
    """Recording and technology heard with more than even odds although no emitter in the record is of its family."""
    found: dict[str, str] = {}
    for recording in survey.current_recordings():
        if visit_id not in (None, recording.visit_id):
            continue
        for one in recording.heard:
            family = family_of(one.technology) or one.technology
            known = any(in_family(e, family) or e.technology == one.technology for e in survey.emitters)
            if one.probability > 0.5 and not known:
                found.setdefault(one.technology, recording.id)
    return tuple((recording, technology) for technology, recording in found.items())
