"""What the readings could not determine, in plain findings."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from roomfield.field.fit import FAR_OFF, fit_of
from roomfield.field.heard import unexplained
from roomfield.field.posterior import Posterior

Array = NDArray[np.float64]
TWIN_CORRELATION = -0.5
LITTLE_LEARNED = 0.85
MOST_OUTLIERS = 5
DRIFT = 0.6
LEAST_ACCEPTANCE = 0.3


class FindingKind(StrEnum):
    """What a finding is about."""

    TWINS = "twins"
    LITTLE_LEARNED = "little_learned"
    OUTLIER = "outlier"
    STRANGE_SITE = "strange_site"
    ONLY_BOUNDS = "only_bounds"
    NO_SWITCHING = "no_switching"
    UNSETTLED = "unsettled"
    UNEXPLAINED = "unexplained"
    UNPLACED = "unplaced"
    OUTSIDE_BAND = "outside_band"
    GAIN = "gain"


@dataclass(frozen=True)
class Finding:
    """One thing that a reader must know.

    Parameters
    ----------
    kind : FindingKind
        What it is about.
    subjects : tuple of str
        Ids of emitters or readings.
    text : str
        One sentence.
    size : float
        The figure behind it; its meaning depends on the kind.
    """

    kind: FindingKind
    subjects: tuple[str, ...]
    text: str
    size: float


def diagnostics(posterior: Posterior) -> tuple[Finding, ...]:
    """Findings about the inference itself.

    Parameters
    ----------
    posterior : Posterior
        From `infer`.
    """
    found: list[Finding] = []
    looks = (_twins, _little_learned, _outliers, _strange_sites, _bounds, _switching, _settled, _unexplained,
             _unplaced, _outside_band, _gains)  # fmt: skip
    for look in looks:
        found += look(posterior)
    return tuple(found)


def _twins(posterior: Posterior) -> list[Finding]:
    """Pairs whose powers trade against each other."""
    names = posterior.emitter_ids
    if len(names) < 2:
        return []
    correlation = np.asarray(np.corrcoef(_power_at_sites(posterior).T))
    found = []
    for i in range(len(names)):
        for j in range(i + 1, len(names)):
            if correlation[i, j] < TWIN_CORRELATION or _never_apart(posterior, i, j):
                text = f"The readings cannot tell {names[i]} and {names[j]} apart: what one is given, the other loses."
                found.append(Finding(FindingKind.TWINS, (names[i], names[j]), text, float(correlation[i, j])))
    return found


def _power_at_sites(posterior: Posterior) -> Array:
    levels = posterior.forward.site_levels_db(posterior.x)
    return np.asarray(levels.mean(axis=2))


def _never_apart(posterior: Posterior, i: int, j: int) -> bool:
    """True if both were always on or off together and stand at one place."""
    on = posterior.forward.observed.levels.on
    near = np.linalg.norm(posterior.radiators.positions[i] - posterior.radiators.positions[j]) < 0.5
    return bool(near and np.all(on[:, i] == on[:, j]))


def _little_learned(posterior: Posterior) -> list[Finding]:
    prior_std = posterior.forward.prior_eirp[1]
    kept = posterior.eirp_db.std(axis=0) / prior_std
    return [
        Finding(FindingKind.LITTLE_LEARNED, (name,),
                f"The readings say little about the power of {name}; its value is mostly the assumption.", float(r))
        for name, r in zip(posterior.emitter_ids, kept, strict=True)
        if r > LITTLE_LEARNED
    ]  # fmt: skip


def _outliers(posterior: Posterior) -> list[Finding]:
    found = []
    for one in fit_of(posterior).outliers[:MOST_OUTLIERS]:
        side = "above" if one.size > 0 else "below"
        text = f"Reading {one.reading_id} lies {abs(one.size):.1f} standard deviations {side} what all others suggest."
        found.append(Finding(FindingKind.OUTLIER, (one.reading_id,), text, one.size))
    return found


def _strange_sites(posterior: Posterior) -> list[Finding]:
    """Sites whose readings fit only with a misfit far beyond what the model expects."""
    found = []
    for one in fit_of(posterior).misfits:
        if one.ratio > FAR_OFF:
            text = (
                f"The readings at {one.place_id or 'a bearing point'} fit only with a misfit {one.ratio:.1f} times the "
                "usual; look for a slip, another emitter, or an object that is not on the plan."
            )
            found.append(Finding(FindingKind.STRANGE_SITE, one.reading_ids, text, one.ratio))
    return found


def _unplaced(posterior: Posterior) -> list[Finding]:
    return [
        Finding(FindingKind.UNPLACED, (place,),
                f"What was read at {place or 'a point'} plays no part in the model: it has no position on the plan.",
                1.0)
        for place in posterior.forward.observed.unplaced
    ]  # fmt: skip


def _outside_band(posterior: Posterior) -> list[Finding]:
    return [
        Finding(FindingKind.OUTSIDE_BAND, (emitter.id,),
                f"No meter in use receives {emitter.name}; nothing that was read says anything of it.", 1.0)
        for emitter in posterior.outside_band
    ]  # fmt: skip


def _gains(posterior: Posterior) -> list[Finding]:
    """Gain errors that the readings put beyond what the meter's maker allows."""
    found = []
    for one in fit_of(posterior).gains:
        if one.beyond:
            text = (
                f"The readings fit only if {one.meter_id} shows {one.gain_db.median:+.1f} dB too much at "
                f"{one.frequency_hz / 1e9:.2f} GHz ({one.gain_db.low:+.1f} to {one.gain_db.high:+.1f} dB), but its "
                f"tolerance is {one.tolerance_db:.1f} dB."
            )
            found.append(Finding(FindingKind.GAIN, (one.meter_id,), text, one.gain_db.median))
    return found


def _bounds(posterior: Posterior) -> list[Finding]:
    censor = posterior.forward.observed.levels.censor
    if not np.any(censor):
        return []
    count, total = int(np.count_nonzero(censor)), len(censor)
    text = f"{count} of {total} readings are only bounds (floor or overload) and enter as such."
    return [Finding(FindingKind.ONLY_BOUNDS, (), text, count / total)]


def _switching(posterior: Posterior) -> list[Finding]:
    on = posterior.forward.observed.levels.on
    always = [e.id for k, e in enumerate(posterior.survey.emitters) if e.switchable and np.all(on[:, k] == on[0, k])]
    if not always or on.shape[1] < 2:
        return []
    text = f"No reading was taken with {', '.join(always)} switched differently; do so to see their part."
    return [Finding(FindingKind.NO_SWITCHING, tuple(always), text, float(len(always)))]


def _settled(posterior: Posterior) -> list[Finding]:
    power = posterior.drift[posterior.forward.blocks["eirp"]]
    worst = float(power.max())
    if posterior.converged and posterior.acceptance > LEAST_ACCEPTANCE and worst < DRIFT:
        return []
    text = "The draws had not settled; repeat with more draws before relying on the intervals."
    return [Finding(FindingKind.UNSETTLED, (), text, worst)]


def _unexplained(posterior: Posterior) -> list[Finding]:
    """Technologies heard of which the record has no emitter."""
    return [
        Finding(FindingKind.UNEXPLAINED, (recording,),
                f"Recording {recording} has {technology}, but the record has no emitter of that kind; look for one.",
                1.0)
        for recording, technology in unexplained(posterior.survey, posterior.visit_id)
    ]  # fmt: skip
