"""Paths that recordings take, by name, for any folder of labelled ones: those of the simulation, and codecs of the extra.

AAC and the telephone's adaptive multi-rate codec need the decoder of the extra ``m4a``.
"""

from __future__ import annotations

import io
from functools import partial

import numpy as np

from roomfield.signals.simulation import paths

WRONG_CLOCK_PPM = 100.0
CALL_RATE_HZ = 8000.0


def through_container(samples, rate_hz: float, codec: str, container: str, bit_rate: int) -> paths.Sound:
    """Written by a codec of the optional decoder into memory and read back."""
    import av

    memory = io.BytesIO()
    with av.open(memory, "w", format=container) as out:
        stream = out.add_stream(codec, rate=round(rate_hz), layout="mono")
        stream.bit_rate = bit_rate
        resampler = av.AudioResampler(stream.format, "mono", round(rate_hz), stream.frame_size or 1024)
        frame = av.AudioFrame.from_ndarray(np.clip(samples, -1, 1)[None, :], format="fltp", layout="mono")
        frame.sample_rate = round(rate_hz)
        for part in (*resampler.resample(frame), None):
            out.mux(stream.encode(part))
    memory.seek(0)
    with av.open(memory) as back:
        to_float = av.AudioResampler("fltp", "mono")
        rows = [r.to_ndarray()[0] for f in back.decode(audio=0) for r in to_float.resample(f)]
        rate = float(back.streams.audio[0].rate)
    return np.concatenate(rows).astype(np.float32), rate


def aac(samples, rate_hz: float) -> paths.Sound:
    """MPEG-4 audio at 96 kbit/s, as most telephones record."""
    return through_container(samples, rate_hz, "aac", "adts", 96000)


def speech(samples, rate_hz: float) -> paths.Sound:
    """A telephone's voice memo of the old kind: adaptive multi-rate, 8 kHz, 12.2 kbit/s."""
    narrow, rate = paths.to_rate(*paths.gain_riding(samples, rate_hz), CALL_RATE_HZ)
    return through_container(narrow, rate, "libopencore_amrnb", "amr", 12200)


NARROW_SHARES = {"rate": 0.3, "band": 0.08, "call": 0.26, "speech": 0.24, "room": 0.12}
NARROW_RATES_HZ = (8000.0, 8000.0, 8000.0, 8000.0, 11025.0, 12000.0)
SPEECH_BIT_RATES = (12200, 12200, 10200, 7950, 5900)
SAVED_AGAIN, SAVED_RATES_HZ = 0.15, (16000.0, 44100.0, 48000.0)


def draw_narrow(rng: np.random.Generator, samples, rate_hz: float) -> tuple[np.ndarray, float, str]:
    """The sound after a path that leaves less than 6 kHz: low rates, a telephone's line, speech codecs, also from a room.

    Some are saved again at a higher rate, so that the rate of a file does not tell its band.
    """
    name = str(rng.choice(list(NARROW_SHARES), p=list(NARROW_SHARES.values())))
    sound = samples, rate_hz
    if name == "band":
        sound = paths.band(*sound, float(rng.uniform(30, 300)), float(rng.uniform(3000, 5400)), int(rng.integers(2, 5)))
    elif name == "rate":
        sound = paths.to_rate(*sound, float(rng.choice(NARROW_RATES_HZ)))
    elif name == "call":
        sound = paths.call(*sound, rng)
    else:
        if name == "room":
            sound = paths.before_loudspeaker(*sound, rng)
        if name == "speech" or rng.random() < 0.5:
            attack_s, release_s = float(10 ** rng.uniform(-2.3, -1.2)), float(rng.uniform(0.15, 1.0))
            sound = paths.gain_riding(*sound, attack_s, release_s, float(rng.uniform(0.2, 0.9)))
            sound = paths.to_rate(*sound, CALL_RATE_HZ)
            sound = through_container(*sound, "libopencore_amrnb", "amr", int(rng.choice(SPEECH_BIT_RATES)))
        else:
            sound = paths.to_rate(*sound, CALL_RATE_HZ)
    if rng.random() < SAVED_AGAIN:
        sound = paths.to_rate(*sound, float(rng.choice(SAVED_RATES_HZ)))
    return *sound, name


_PATHS = {**paths.PATHS, "aac": aac, "speech": speech, "clock": partial(paths.clock, ppm=WRONG_CLOCK_PPM)}
DRAWN = ("socket", "call", "loudspeaker")
NARROW = "narrow"


def disguises() -> list[str]:
    """Names of all paths, and an empty one for none."""
    return ["", NARROW, *sorted(_PATHS)]


def disguise(name: str, samples, rate_hz: float, rng: np.random.Generator | None = None):
    """Samples and rate after a path, and by how much its clock stretches every rate; ``rng`` draws what a path leaves to chance."""
    if name == NARROW:
        changed, rate, _ = draw_narrow(rng or np.random.default_rng(1), samples, rate_hz)
    elif name in DRAWN:
        changed, rate = _PATHS[name](samples, rate_hz, rng)
    else:
        changed, rate = _PATHS[name](samples, rate_hz)
    return changed, rate, samples.size / changed.size if name == "clock" else 1.0
