"""What gets into a recording without being a transmitter: mains, handling, voices, music, beeps.

Voices and music are crude on purpose (buzz through resonances; notes and strokes): what matters
is that they rise and fall, drift, ring and stop like them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from roomfield.signals.simulation.component import Bench

Array = NDArray[np.float64]


def _times(bench: Bench) -> Array:
    return np.arange(bench.samples) / bench.rate_hz


def _mains_phase(bench: Bench, nominal_hz: float) -> Array:
    drift = nominal_hz + bench.rng.normal(0, 0.02) + np.cumsum(bench.rng.normal(0, 0.004, 12))
    course = np.interp(_times(bench), np.linspace(0, bench.duration_s, 12), drift)
    if bench.rng.random() < 0.3:
        course = np.full(bench.samples, nominal_hz * (1 + bench.rng.choice([0.0, bench.rng.normal(0, 2e-4)])))
    return np.asarray(np.cumsum(course) / bench.rate_hz + bench.rng.random())


def hum(bench: Bench, nominal_hz: float) -> Array:
    """Mains hum with falling harmonics, rms 1."""
    phase = _mains_phase(bench, nominal_hz)
    orders = np.arange(1, int(bench.rng.integers(3, 25)))
    levels = orders ** -bench.rng.uniform(0.7, 2.0) * np.exp(bench.rng.normal(0, 0.5, orders.size))
    levels[1::2] *= bench.rng.choice([0.1, 1.0, 3.0])
    turn = np.exp(2j * np.pi * phase).astype(np.complex64)
    now, out = np.ones(bench.samples, np.complex64), np.zeros(bench.samples, np.float32)
    for level in levels:
        now *= turn
        out += (now * np.complex64(level * np.exp(2j * np.pi * bench.rng.random()))).real
    return np.asarray(out / out.std(), np.float64)


def dimmer(bench: Bench, nominal_hz: float) -> Array:
    """Phase-cut dimmer: a sharp ringing edge in each half wave, peak 1."""
    phase = _mains_phase(bench, nominal_hz) * 2
    crossing = np.flatnonzero(np.diff(np.floor(phase)) > 0)
    clicks = np.zeros(bench.samples)
    sign = 1.0 if bench.rng.random() < 0.5 else -1.0
    clicks[crossing] = np.where(np.arange(crossing.size) % 2, sign, 1.0) * (
        1 + 0.03 * bench.rng.normal(size=crossing.size)
    )
    decay = np.exp(-1 / (bench.rate_hz * 10 ** bench.rng.uniform(-4.5, -2.8)))
    ring = 2 * np.pi * bench.rng.choice([0.0, bench.rng.uniform(1e3, 9e3)]) / bench.rate_hz
    rung = lfilter([1.0], [1, -2 * decay * np.cos(ring), decay**2], clicks)
    return np.asarray(rung / (np.abs(rung).max() + 1e-12))


def handling(bench: Bench) -> Array:
    """Thumps, rubbing, clicks of a plug, peak 1."""
    rng = bench.rng
    out = np.zeros(bench.samples)
    for _ in range(rng.poisson(bench.duration_s * rng.uniform(0.5, 4)) + 1):
        kind = rng.choice(["thump", "rub", "click"], p=[0.5, 0.3, 0.2])
        length = int(
            bench.rate_hz
            * {"thump": rng.uniform(0.02, 0.25), "rub": rng.uniform(0.1, 0.8), "click": rng.uniform(0.001, 0.02)}[
                str(kind)
            ]
        )
        t = np.arange(length) / bench.rate_hz
        if kind == "thump":
            piece = np.exp(-t / rng.uniform(0.01, 0.06)) * np.sin(2 * np.pi * rng.uniform(20, 250) * t)
        elif kind == "rub":
            pole = rng.uniform(0.6, 0.99)
            piece = (
                lfilter([1 - pole], [1, -pole], rng.normal(size=length)) * np.hanning(length) * rng.uniform(0.3, 1.5)
            )
        else:
            piece = np.exp(-t / rng.uniform(1e-4, 2e-3)) * rng.normal(size=length)
        at = int(rng.integers(0, max(1, bench.samples - length)))
        out[at : at + length] += piece[: bench.samples - at] * rng.uniform(0.1, 1)
    return out / (np.abs(out).max() + 1e-12)


def voice(bench: Bench) -> Array:
    """A speaker: glottal buzz or hiss through moving resonances, syllables and pauses, peak 1."""
    rng = bench.rng
    out = np.zeros(bench.samples)
    at, pitch = int(rng.uniform(0, 0.3) * bench.rate_hz), rng.uniform(85, 240)
    while at < bench.samples:
        length = int(bench.rate_hz * rng.uniform(0.06, 0.3))
        out[at : at + length] += _syllable(bench, length, pitch * np.exp(rng.normal(0, 0.12)))[: bench.samples - at]
        at += length + int(bench.rate_hz * (rng.exponential(0.03) if rng.random() < 0.85 else rng.uniform(0.2, 0.9)))
    return out / (np.abs(out).max() + 1e-12)


def _syllable(bench: Bench, length: int, pitch_hz: float) -> Array:
    rng = bench.rng
    bend = pitch_hz * np.linspace(1, np.exp(rng.normal(0, 0.15)), length)
    jitter = np.cumsum(rng.normal(0, 0.02, length // 200 + 2))
    phase = np.cumsum(bend) / bench.rate_hz + 0.02 * np.interp(np.arange(length) / 200, np.arange(jitter.size), jitter)
    if rng.random() < 0.75:
        source = (np.diff(np.floor(phase), prepend=0) > 0).astype(float) + 0.01 * rng.normal(size=length)
    else:
        source = 0.15 * np.diff(rng.normal(size=length), prepend=0)
    for centre, width in ((rng.uniform(300, 800), 90), (rng.uniform(900, 2300), 130), (rng.uniform(2300, 3200), 200)):
        radius = np.exp(-np.pi * width / bench.rate_hz)
        source = lfilter([1 - radius], [1, -2 * radius * np.cos(2 * np.pi * centre / bench.rate_hz), radius**2], source)
    return np.asarray(source * np.hanning(length) / (np.abs(source).max() + 1e-12)) * rng.uniform(0.3, 1)


def music(bench: Bench) -> Array:
    """Notes of the tempered scale with harmonics and decay, strokes on a beat, peak 1."""
    rng = bench.rng
    out = np.zeros(bench.samples)
    beat = 60 / rng.uniform(70, 150)
    for index, start in enumerate(np.arange(rng.uniform(0, beat), bench.duration_s, beat / 2)):
        at = int(start * bench.rate_hz)
        length = min(int(rng.uniform(0.3, 2) * beat * bench.rate_hz), bench.samples - at)
        t = np.arange(length) / bench.rate_hz
        if rng.random() < 0.7:
            note = 440 * 2 ** (rng.integers(-24, 20) / 12)
            for order in range(1, int(rng.integers(2, 12))):
                out[at : at + length] += (
                    np.sin(2 * np.pi * note * order * t) * order**-1.2 * np.exp(-t / rng.uniform(0.1, 0.8))
                )
        if index % 2 == 0 and rng.random() < 0.8:
            out[at : at + length] += (
                rng.normal(size=length) * np.exp(-t / rng.uniform(0.005, 0.05)) * rng.uniform(0.2, 1.5)
            )
    return out / (np.abs(out).max() + 1e-12)


def beeps(bench: Bench) -> Array:
    """A timer, a telephone's keys or a ringing tone: tones keyed on and off, often at an exact rate, peak 1."""
    rng = bench.rng
    out = np.zeros(bench.samples)
    length_s = 10 ** rng.uniform(-1.7, -0.3)
    step_s = length_s * rng.uniform(1.3, 6)
    tones = rng.uniform(350, 4500, int(rng.integers(1, 3)))
    ramp_s = 10 ** rng.uniform(-3.3, -1.9)
    sharp, group = rng.random() < 0.3, int(rng.choice([1, 2, 4, 1000]))
    for index, start in enumerate(np.arange(rng.uniform(0, step_s), bench.duration_s, step_s)):
        if index // group % 2 and group < 1000:
            continue
        at = int(start * bench.rate_hz)
        t = np.arange(min(int(length_s * bench.rate_hz), bench.samples - at)) / bench.rate_hz
        wave = sum(np.sin(2 * np.pi * tone * t) for tone in tones)
        wave = np.sign(wave) if sharp else wave
        out[at : at + t.size] += wave * np.clip(np.minimum(t, length_s - t) / ramp_s, 0, 1)
        if rng.random() < 0.1:
            tones = rng.uniform(350, 4500, tones.size)
    return np.asarray(out / (np.abs(out).max() + 1e-12))
