"""The way from a meter's socket to a sound file, as people go it: codecs, low rates, gain riding, rooms, wrong clocks.

Each path takes samples and rate and gives samples and rate. ``PATHS`` names those that need no codec from outside the
base; ``draw`` picks one at random for a simulated recording.
"""

from __future__ import annotations

import io
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, resample, resample_poly, sosfilt

from roomfield.extras import library
from roomfield.signals.simulation.box_kernels import gain_course

soundfile = library("soundfile", "sound")

Samples = NDArray[np.float32]
Sound = tuple[Samples, float]

GAIN_BLOCK_S = 0.004
LOUDEST = 0.89
NO_CODEC = 0.5  # share of telephones that record without loss
OPUS_RATE_HZ = 48000


def to_rate(samples: Samples, rate_hz: float, wanted_hz: float) -> Sound:
    """The same sound at another rate, low-passed below its half."""
    if wanted_hz == rate_hz:
        return samples, rate_hz
    common = np.gcd(round(wanted_hz), round(rate_hz))
    up, down = round(wanted_hz) // common, round(rate_hz) // common
    return resample_poly(samples, up, down).astype(np.float32), float(wanted_hz)


def through_file(samples: Samples, rate_hz: float, form: str, subtype: str, quality: float | None = None) -> Sound:
    """Written to a sound file in memory and read back.

    Parameters
    ----------
    form, subtype : str
        As the sound library names them: ``("MP3", "MPEG_LAYER_III")``, ``("OGG", "OPUS")``, ``("WAV", "GSM610")``.
    quality : float, optional
        0 for the best to 1 for the smallest file.
    """
    peak = float(np.abs(samples).max()) + 1e-12
    gain = min(1.0, LOUDEST / peak)
    memory = io.BytesIO()
    settings = {} if quality is None else {"compression_level": quality}
    with soundfile.SoundFile(memory, "w", round(rate_hz), 1, subtype, format=form, **settings) as file:
        for part in np.array_split(samples * np.float32(gain), max(1, samples.size // 30000)):
            file.write(part)
    memory.seek(0)
    back, rate = soundfile.read(memory, dtype="float32")
    return np.asarray(back, np.float32), float(rate)


def mp3(samples: Samples, rate_hz: float, quality: float = 0.5) -> Sound:
    """MPEG layer III."""
    return through_file(samples, rate_hz, "MP3", "MPEG_LAYER_III", quality)


def vorbis(samples: Samples, rate_hz: float, quality: float = 0.6) -> Sound:
    """Vorbis in Ogg."""
    return through_file(samples, rate_hz, "OGG", "VORBIS", quality)


def opus(samples: Samples, rate_hz: float, quality: float = 0.7) -> Sound:
    """Opus in Ogg, which knows 48 kHz and fractions of it only."""
    return through_file(*to_rate(samples, rate_hz, OPUS_RATE_HZ), "OGG", "OPUS", quality)


def band(samples: Samples, rate_hz: float, low_hz: float = 100.0, high_hz: float = 7000.0, order: int = 2) -> Sound:
    """A band-pass of Butterworth flanks."""
    low = butter(order, low_hz, "highpass", fs=rate_hz, output="sos")
    out = sosfilt(low, samples)
    if high_hz < 0.47 * rate_hz:
        out = sosfilt(butter(2 * order, high_hz, fs=rate_hz, output="sos"), out)
    return out.astype(np.float32), rate_hz


def gain_riding(
    samples: Samples, rate_hz: float, attack_s: float = 0.02, release_s: float = 0.4, strength: float = 0.8
) -> Sound:
    """Automatic gain: the louder the last moments, the lower the gain (``strength`` 1 levels all out)."""
    block = max(1, round(GAIN_BLOCK_S * rate_hz))
    count = -(-samples.size // block)
    padded = np.zeros(count * block, np.float32)
    padded[: samples.size] = samples
    levels = np.sqrt((padded.reshape(count, block).astype(np.float64) ** 2).mean(1)) + 1e-6
    course = gain_course(levels, 1 - np.exp(-GAIN_BLOCK_S / attack_s), 1 - np.exp(-GAIN_BLOCK_S / release_s))
    gain = (course / np.median(course)) ** -strength
    smooth = np.interp(np.arange(samples.size), (np.arange(count) + 0.5) * block, gain)
    out = samples * smooth
    return (out * (LOUDEST / max(np.abs(out).max(), LOUDEST))).astype(np.float32), rate_hz


def clock(samples: Samples, rate_hz: float, ppm: float = 100.0) -> Sound:
    """A recorder whose clock runs slow by ``ppm``: it takes fewer samples, so every rate reads higher."""
    return resample(samples, max(1, round(samples.size * (1 - ppm * 1e-6)))).astype(np.float32), rate_hz


def socket(samples: Samples, rate_hz: float, rng: np.random.Generator | None = None) -> Sound:
    """A telephone's microphone socket: no lows, gain riding, a codec."""
    rng = rng or np.random.default_rng(1)
    sound = band(samples, rate_hz, float(rng.uniform(70, 250)), float(rng.uniform(7000, 16000)))
    sound = gain_riding(
        *sound, float(rng.uniform(0.005, 0.05)), float(rng.uniform(0.1, 0.8)), float(rng.uniform(0.3, 0.9))
    )
    if rng.random() < NO_CODEC:
        return sound
    return (mp3, vorbis, opus)[int(rng.integers(3))](*sound, float(rng.uniform(0.3, 0.8)))


def call(samples: Samples, rate_hz: float, rng: np.random.Generator | None = None) -> Sound:
    """A telephone call: 300 to 3400 Hz at 8 kHz, gain riding, a speech codec of full rate or 8-bit logarithms."""
    rng = rng or np.random.default_rng(1)
    sound = gain_riding(*band(samples, rate_hz, 300.0, 3400.0), strength=float(rng.uniform(0.2, 0.8)))
    kind = "GSM610" if rng.random() < 0.5 else "ULAW"
    return through_file(*to_rate(*sound, 8000.0), "WAV", kind)


def before_loudspeaker(samples: Samples, rate_hz: float, rng: np.random.Generator | None = None) -> Sound:
    """A telephone laid before the meter's loudspeaker: small cone, reverberation, noise of the room, gain riding, codec."""
    rng = rng or np.random.default_rng(1)
    cone, _ = band(samples, rate_hz, float(rng.uniform(250, 600)), float(rng.uniform(5000, 12000)), 1)
    decay_s = float(rng.uniform(0.15, 0.6)) / 6.9
    count = int(6 * decay_s * rate_hz)
    echo = rng.standard_normal(count) * np.exp(-np.arange(count) / (decay_s * rate_hz))
    echo *= 10 ** (-float(rng.uniform(2, 14)) / 20) / np.sqrt((echo**2).sum())
    echo[0] += 1.0
    heard = fftconvolve(cone, echo.astype(np.float32))[: cone.size]
    noise = sosfilt(butter(1, 500.0, fs=rate_hz, output="sos"), rng.standard_normal(cone.size))
    level = float(np.abs(heard).max()) * 10 ** (-float(rng.uniform(24, 45)) / 20)
    heard = heard + noise / noise.std() * level
    return socket(heard.astype(np.float32), rate_hz, rng)


PATHS: dict[str, Callable[..., Sound]] = {
    "mp3": mp3, "vorbis": vorbis, "opus": opus, "16k": lambda s, r: to_rate(s, r, 16000.0),
    "8k": lambda s, r: to_rate(s, r, 8000.0), "band": band, "gain": gain_riding, "clock": clock,
    "socket": socket, "call": call, "loudspeaker": before_loudspeaker,
}  # fmt: skip

_SHARES = {
    "none": 0.41, "mp3": 0.05, "vorbis": 0.02, "opus": 0.03, "rate": 0.16, "band": 0.06, "gain": 0.06, "socket": 0.08,
    "call": 0.06, "loudspeaker": 0.07,
}  # fmt: skip
_RATES_HZ = (8000.0, 8000.0, 11025.0, 16000.0, 16000.0, 22050.0, 24000.0, 32000.0)


def draw(rng: np.random.Generator, samples: Samples, rate_hz: float) -> tuple[Samples, float, str]:
    """The sound after a path drawn at random, and the name of the path; two of five recordings go none."""
    name = str(rng.choice(list(_SHARES), p=list(_SHARES.values())))
    if name == "none":
        return samples, rate_hz, name
    if name == "rate":
        sound = to_rate(samples, rate_hz, float(rng.choice(_RATES_HZ)))
    elif name in ("mp3", "vorbis", "opus"):
        sound = PATHS[name](samples, rate_hz, float(rng.uniform(0.2, 0.95)))
    elif name == "band":
        sound = band(samples, rate_hz, float(rng.uniform(40, 200)), float(rng.uniform(4000, 12000)))
    elif name == "gain":
        sound = gain_riding(
            samples,
            rate_hz,
            float(10 ** rng.uniform(-2.5, -1)),
            float(rng.uniform(0.1, 1.5)),
            float(rng.uniform(0.2, 1)),
        )
    else:
        sound = PATHS[name](samples, rate_hz, rng)
    return *sound, name


def drawn_clock_ppm(rng: np.random.Generator) -> float:
    """Clock error of a recorder [ppm]: most within 30, one in ten between 50 and 140."""
    if rng.random() < 0.1:
        return float(rng.choice([-1.0, 1.0]) * rng.uniform(50, 140))
    return float(rng.normal(0, 15)) if rng.random() < 0.6 else 0.0
