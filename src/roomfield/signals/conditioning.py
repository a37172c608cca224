"""Making a recording fit to be searched: one channel, no hum, marked clipping, spans of room sound.

Nothing here changes what bursts or combs look like above the hum: narrow notches on the mains harmonics
below 1.2 kHz, and a floor of 12 Hz, that is all. A recording of a low rate is given samples in between, as its band
prescribes them (Shannon): edges and the courses of frames are then looked for on one scale of time whatever the rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.signal import resample_poly

F32 = NDArray[np.float32]

WORKING_RATE_HZ = 64000.0
DENSE_RATE_HZ = 44000.0
NOTCH_TOP_HZ = 1200.0
LINE_OVER_SIDES, SIDES_HZ = 6.0, (1.0, 4.0)


@dataclass(frozen=True)
class Conditioned:
    """Samples ready for the searches.

    Attributes
    ----------
    samples : ndarray of float32, shape (n,)
        One channel, hum and slow drift removed.
    raw : ndarray of float32, shape (n,)
        One channel, mean removed only.
    sample_rate_hz : float
        [Hz]
    clipped_fraction : float
        Share of samples at the rails.
    hum_hz : float or None
        Mains frequency found and notched [Hz].
    hum_over_comb : float
        Strongest low mains line over the typical line of the same comb at 1-3 kHz [1].
    top_hz : float
        Half the rate at which the sound was sampled: nothing is known above [Hz].
    """

    samples: F32
    raw: F32
    sample_rate_hz: float
    clipped_fraction: float
    hum_hz: float | None
    hum_over_comb: float
    top_hz: float

    @property
    def resolution_s(self) -> float:
        """Time between two samples that tell different things [s]."""
        return 0.5 / self.top_hz


def one_channel(samples: NDArray[np.floating]) -> F32:
    """Mean of like channels, or the louder of unlike ones.

    Parameters
    ----------
    samples : ndarray, shape (n,) or (n, channels)
    """
    if samples.ndim == 1:
        return np.asarray(samples, np.float32)
    if samples.shape[1] == 1:
        return np.asarray(samples[:, 0], np.float32)
    spread = samples.std(0)
    if spread.min() > 0.2 * spread.max() and np.corrcoef(samples[:, 0], samples[:, 1])[0, 1] > 0.5:
        return np.asarray(samples.mean(1), np.float32)
    return np.asarray(samples[:, int(np.argmax(spread))], np.float32)


def clipped_share(samples: F32) -> float:
    """Share of samples that sit at either rail for at least two samples in a row."""
    if samples.size < 2:
        return 0.0
    total = 0.0
    for rail in (float(samples.max()), float(samples.min())):
        at = np.abs(samples - rail) <= 1e-4 * abs(rail) + 1e-9
        pairs = at[1:] & at[:-1]
        total += float(np.count_nonzero(pairs)) / samples.size
    return total if total > 2e-5 else 0.0


def condition(samples: NDArray[np.floating], sample_rate_hz: float, *, known_top_hz: float = np.inf) -> Conditioned:
    """Prepare one block of a recording.

    Parameters
    ----------
    samples : ndarray, shape (n,) or (n, channels)
    sample_rate_hz : float
        [Hz]
    known_top_hz : float
        Where the band ends, if it ends below half the rate because the samples were prepared before [Hz].
    """
    mono = one_channel(samples)
    clipped = clipped_share(mono)
    while sample_rate_hz > WORKING_RATE_HZ:
        mono = resample_poly(mono, 1, 2).astype(np.float32)
        sample_rate_hz /= 2
    top_hz = min(sample_rate_hz / 2, known_top_hz)
    between = int(np.ceil(DENSE_RATE_HZ / sample_rate_hz))
    if between > 1:
        mono = resample_poly(mono, between, 1).astype(np.float32)
        sample_rate_hz *= between
    raw = mono - np.float32(mono.mean())
    length = next_fast_len(raw.size, real=True)
    spectrum = rfft(raw, length)
    per_hz = length / sample_rate_hz
    hum, ratio = _find_hum(spectrum, per_hz)
    spectrum[: int(12 * per_hz)] = 0
    if hum is not None:
        _notch(spectrum, per_hz, hum)
    clean = irfft(spectrum, length)[: raw.size].astype(np.float32)
    return Conditioned(clean, raw, sample_rate_hz, clipped, hum, ratio, top_hz)


def _find_hum(spectrum: NDArray[np.complex64], per_hz: float) -> tuple[float | None, float]:
    """Mains frequency if its low harmonics tower over the same comb at 1-3 kHz, and the strongest over what lies beside it.

    A few bursts have much power at all low frequencies, and no line there.
    """
    best: tuple[float | None, float] = (None, 0.0)
    for nominal in (50.0, 60.0):
        span = int(0.5 * per_hz) + 1
        top: tuple[float, float, int] = (0.0, nominal, 1)
        for order in (1, 2, 3, 4, 5, 6):
            centre = int(order * nominal * per_hz)
            power = np.abs(spectrum[centre - span : centre + span + 1]) ** 2
            if power.size and power.max() > max(top[0], LINE_OVER_SIDES * _beside(spectrum, centre, per_hz)):
                top = (float(power.max()), (centre - span + int(np.argmax(power))) / per_hz / order, order)
        orders = np.arange(int(1000 / nominal), int(3000 / nominal))
        at = np.minimum((orders * nominal * per_hz + 0.5).astype(int), spectrum.size - 1)
        typical = float(np.median(np.abs(spectrum[at]) ** 2)) + 1e-20
        ratio = top[0] / typical
        if ratio > max(300.0, best[1]):
            best = (top[1], ratio)
    return best


def _beside(spectrum: NDArray[np.complex64], centre: int, per_hz: float) -> float:
    """Median power of the bins 1 to 4 Hz beside a line, the hum's own wander left out."""
    near, far = int(np.ceil(SIDES_HZ[0] * per_hz)), int(SIDES_HZ[1] * per_hz)
    sides = np.concatenate(
        [spectrum[max(centre - far, 0) : centre - near], spectrum[centre + near + 1 : centre + far + 1]]
    )
    return float(np.median(np.abs(sides) ** 2)) if sides.size else 0.0


def _notch(spectrum: NDArray[np.complex64], per_hz: float, hum_hz: float) -> None:
    for order in range(1, int(NOTCH_TOP_HZ / hum_hz) + 1):
        half = (0.35 + 0.04 * order) * per_hz
        centre = order * hum_hz * per_hz
        spectrum[max(0, int(centre - half)) : int(centre + half) + 2] = 0
