"""Law and scale of the sound from what the display showed.

For each law the parts of the sound that a display reading covers give an average and two maxima in the law's own
unit. The right law gives one scale for all of them. Maxima lie under the meter's by what the recorder's low-pass
takes off short crests; that offset is alike in all of them and is fitted with the scale. Laws are weighed by the
likelihood of the readings; a logarithmic law has its steepness fitted as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import TooEarlyError
from roomfield.signals.night.display import READING_STD_DB, DisplayReading
from roomfield.signals.night.voltage import Law, power_of

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

MODEL_STD_DB = 0.15
"""How far a real detector strays from the three laws; our judgement [dB]."""
CREST_MEAN_DB, CREST_STD_DB, CREST_OWN_STD_DB = 1.0, 0.9, 0.5
"""What a recorder's low-pass takes off the crests: mean, spread from recorder to recorder, and from crest to crest (it
takes nothing off a long even burst and 2 dB or more off a noise-like one); our judgement [dB]."""
SCALE_STD_DB = 60.0
DRIFT_STD_DB, DRIFT_ODDS, DRIFT_S = (0.05, 0.2, 1.0), (0.5, 0.4, 0.1), 1800.0
"""How far the voltage gain of meter and recorder may wander and the odds of each before any reading: readings that agree
speak for a gain that hardly does, and narrow the interval between them; and how long it takes to forget where it was; our
judgement."""
LEAST_WEIGHT, MOST_RIVALS = 0.02, 6
"""Other laws and steepnesses are carried along if the readings leave them so probable, and so many at most [1]."""
NEGLIGIBLE = 1e-12
LONGEST_AVERAGE_S = 60.0
"""An average is held against no more of the sound than this [s]."""
OUTLIER_DEGREES = 4.0
"""Degrees of freedom of the readings' errors: a thump on the meter while it was read spoils one number in ten or so."""
ROUNDS = 8
_STEEPNESS = np.geomspace(2.0, 60.0, 40)
"""Decades of power over the largest voltage that are tried for a logarithmic law."""


@dataclass(frozen=True)
class Drift:
    """The scale as a Gaussian process over time, known at the moments of the display readings.

    Attributes
    ----------
    std_db : float
        How far the gain wanders [dB].
    middle_db : float
        Mean before any reading [dB].
    moments_s, pull, spread : ndarray, shapes (n,), (n,) and (n, n)
        Moments, weights of the readings, and inverse covariance of the readings.
    """

    std_db: float
    middle_db: float
    moments_s: F64
    pull: F64
    spread: F64

    def scale_db(self, at_s: F64) -> tuple[F64, F64]:
        """Scale and its standard uncertainty at moments of shape (m,) [dB]."""
        known = _covariance(np.asarray(at_s, np.float64), self.moments_s, self.std_db)
        left = SCALE_STD_DB**2 + self.std_db**2 - np.einsum("ij,jk,ik->i", known, self.spread, known)
        return self.middle_db + known @ self.pull, np.sqrt(np.maximum(left, 0.0) + MODEL_STD_DB**2)


def _covariance(one_s: F64, other_s: F64, drift_std_db: float) -> F64:
    apart = np.abs(one_s[:, None] - other_s[None, :])
    return np.asarray(SCALE_STD_DB**2 + drift_std_db**2 * np.exp(-apart / DRIFT_S))


@dataclass(frozen=True)
class Drifts:
    """The scale while it is not known how far the gain wanders: a mixture of processes.

    Attributes
    ----------
    parts : tuple of Drift
    weights : tuple of float
        Their probabilities given the readings.
    """

    parts: tuple[Drift, ...]
    weights: tuple[float, ...]

    def scale_db(self, at_s: F64) -> tuple[F64, F64]:
        """Mean and standard uncertainty of the scale at moments of shape (m,) [dB]."""
        means, stds = (np.array(each) for each in zip(*(part.scale_db(at_s) for part in self.parts), strict=True))
        weights = np.array(self.weights)[:, None]
        mean = (weights * means).sum(axis=0)
        return mean, np.sqrt((weights * (stds**2 + (means - mean) ** 2)).sum(axis=0))


@dataclass(frozen=True)
class Rival:
    """Another way in which the sound may follow the power.

    Attributes
    ----------
    law : Law
    decades : float
    weight : float
        Its probability; those of all rivals and of the chosen one sum to 1.
    drift : Drifts
    """

    law: Law
    decades: float
    weight: float
    drift: Drifts


@dataclass(frozen=True)
class Calibration:
    """How sound becomes power density.

    Attributes
    ----------
    law : Law
        The most probable one, or the one given.
    law_probability : float
        Its probability among the three; 1 if it was given.
    decades : float
        Steepness of a logarithmic law [decades per unit of voltage]; else 0.
    crest_db, crest_std_db : float
        What is added to maxima besides the scale, and its standard uncertainty [dB].
    drift : Drifts
        Power density over the law's own unit against time [dB re 1 W/m2].
    residual_db : ndarray, shape (readings,)
        Display minus sound, in the order of ``labels`` [dB].
    labels : tuple of (float, str)
        Moment and kind of each number.
    rivals : tuple of Rival
        Other laws and steepnesses that the readings leave possible.
    """

    law: Law
    law_probability: float
    decades: float
    crest_db: float
    crest_std_db: float
    drift: Drifts
    residual_db: F64
    labels: tuple[tuple[float, str], ...]
    rivals: tuple[Rival, ...] = ()


@dataclass(frozen=True)
class _Fit:
    log_likelihood: float
    crest_db: float
    crest_std_db: float
    drift: Drift
    residual_db: F64


class CoveredSound(Protocol):
    """What a calibration asks of the sound."""

    def voltage(self, begin_s: float, end_s: float) -> F32:
        """Voltage over rest in that part of the recording."""

    def top(self, begin_s: float, end_s: float) -> float:
        """Highest voltage over rest in that part; 0 if it is not known."""


def calibrate(readings: Sequence[DisplayReading], sound: CoveredSound, law: Law | None = None) -> Calibration:
    """Fit law and scale.

    Parameters
    ----------
    readings : sequence of DisplayReading
    sound : CoveredSound
        All laws are monotone, so that of a part whose maximum was read only the highest voltage counts.
    law : Law, optional
        If the law is known.

    Raises
    ------
    TooEarlyError
        If nothing was read off the display, or the sound is silent where it was.
    """
    parts = _parts(readings, sound)
    if not parts:
        raise TooEarlyError(
            "the sound has no scale yet: no display reading covers a part of it that is not silent.",
            mend="Read peak, highest held and average off the display once in the evening and once in the morning.",
        )
    largest = max(float(np.abs(v).max()) for _, _, v in parts)
    tried = [(each, float(d)) for each in ((law,) if law else tuple(Law)) for d in _steepness(each, largest)]
    kinds = [(*way, std) for way in tried for std in range(len(DRIFT_STD_DB))]
    fits = [
        _fit(parts, each, decades, DRIFT_STD_DB[std] * _gain_matters(each, decades * largest))
        for each, decades, std in kinds
    ]
    prior = [np.log(DRIFT_ODDS[std] / len(_steepness(each, largest))) for each, _, std in kinds]
    weight = np.array([f.log_likelihood + p for f, p in zip(fits, prior, strict=True)])
    weight = np.exp(weight - weight.max())
    weight = weight.reshape(len(tried), -1) / weight.sum()
    own = weight.sum(axis=1)
    best = int(own.argmax())
    chosen = tried[best][0]
    share = float(own[[i for i, (each, _) in enumerate(tried) if each is chosen]].sum())
    fit = fits[best * len(DRIFT_STD_DB) + int(weight[best].argmax())]
    drifts = [_drifts(fits[i * len(DRIFT_STD_DB) :], weight[i]) for i in range(len(tried))]
    others = [int(i) for i in np.argsort(own)[::-1][: MOST_RIVALS + 1] if i != best and own[i] >= LEAST_WEIGHT]
    whole = float(own[[best, *others]].sum())
    rivals = tuple(Rival(*tried[i], float(own[i]) / whole, drifts[i]) for i in others)
    labels = tuple((at, kind) for (at, kind, _, _) in _numbers(parts))
    return Calibration(
        chosen, share, tried[best][1], fit.crest_db, fit.crest_std_db, drifts[best], fit.residual_db, labels, rivals
    )


def _gain_matters(law: Law, decades_at_top: float) -> float:
    """Change of the power in dB for a change of the voltage by 1 dB: a logarithmic detector takes it for a factor."""
    return {Law.SQUARE: 0.5, Law.LINEAR: 1.0, Law.LOG: np.log(10.0) / 2.0 * decades_at_top}[law]


def _drifts(fits: Sequence[_Fit], weight: F64) -> Drifts:
    own = weight / weight.sum()
    return Drifts(tuple(fit.drift for fit, _ in zip(fits, own, strict=False)), tuple(float(w) for w in own))


def _steepness(law: Law, largest: float) -> F64:
    return _STEEPNESS / largest if law is Law.LOG else np.zeros(1)


_Part = tuple[DisplayReading, str, F32]


def _parts(readings: Sequence[DisplayReading], sound: CoveredSound) -> list[_Part]:
    wanted = ("average_w_m2", "average_from_s"), ("peak_w_m2", "peak_from_s"), ("held_w_m2", "held_from_s")
    parts = []
    for reading in readings:
        for value, begin in wanted:
            if getattr(reading, value) is None:
                continue
            span = max(getattr(reading, begin), reading.at_s - LONGEST_AVERAGE_S), reading.at_s
            voltage = sound.voltage(*span) if value.startswith("average") else _top(sound, reading, begin)
            if len(voltage) and float(voltage.max()) > 0:
                parts.append((reading, value.removesuffix("_w_m2"), voltage))
    return parts


def _top(sound: CoveredSound, reading: DisplayReading, begin: str) -> F32:
    return np.array([sound.top(getattr(reading, begin), reading.at_s)], np.float32)


def _numbers(parts: list[_Part]) -> list[tuple[float, str, float, F32]]:
    return [(r.at_s, kind, float(getattr(r, f"{kind}_w_m2")), v) for r, kind, v in parts]


def _fit(parts: list[_Part], law: Law, decades: float, drift_std_db: float) -> _Fit:
    """Gaussian process for the scale, one offset for the maxima, readings with heavy-tailed errors.

    Student's t as a normal law whose precision is gamma-distributed: the precision of each reading and the process are
    found in turn (expectation and maximisation; Lange, Little and Taylor, J. Amer. Statist. Assoc. 84, 1989; from memory).
    """
    numbers = _numbers(parts)
    own = [_own(power_of(voltage.astype(np.float64), law, decades), kind) for _, kind, _, voltage in numbers]
    y = 10 * np.log10([shown for _, _, shown, _ in numbers]) - 10 * np.log10(own)
    is_crest = np.array([kind != "average" for _, kind, _, _ in numbers], np.float64)
    moments = np.array([at for at, _, _, _ in numbers])
    middle = float(np.median(y))
    residual = y - middle - CREST_MEAN_DB * is_crest
    error = READING_STD_DB**2 + MODEL_STD_DB**2 + CREST_OWN_STD_DB**2 * is_crest
    smooth = _covariance(moments, moments, drift_std_db) + CREST_STD_DB**2 * np.outer(is_crest, is_crest)
    trust = np.ones(len(y))
    for _ in range(ROUNDS):
        spread = smooth + np.diag(error / trust)
        inverse = np.asarray(np.linalg.inv(spread), np.float64)
        pull = inverse @ residual
        left = error / trust * pull
        trust = (OUTLIER_DEGREES + 1) / (OUTLIER_DEGREES + left**2 / error)
    crest = CREST_MEAN_DB + CREST_STD_DB**2 * float(is_crest @ pull)
    crest_var = CREST_STD_DB**2 - CREST_STD_DB**4 * float(is_crest @ inverse @ is_crest)
    drift = Drift(drift_std_db, middle, moments, pull, inverse)
    doubt = 0.5 * OUTLIER_DEGREES * float((np.log(trust) - trust + 1.0).sum())
    likelihood = -0.5 * float(residual @ pull) - 0.5 * float(np.linalg.slogdet(spread)[1]) + doubt
    left = y - drift.scale_db(moments)[0] - crest * is_crest
    return _Fit(likelihood, crest, float(np.sqrt(max(crest_var, 0.0))), drift, left)


def _own(power: F64, kind: str) -> float:
    return max(float(power.mean()) if kind == "average" else float(power.max()), NEGLIGIBLE)
