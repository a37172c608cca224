"""From transmitters to a sound file: detector, coupling, filters, noise and everything that leaks in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, lfilter, sosfilt

from roomfield.signals.simulation import broadcast, ofdm, packets, paths, radars, room, short_range, slotted, unlisted
from roomfield.signals.simulation.component import Bench, Component

OVERSAMPLING = 2

SOURCES: dict[str, Callable[[Bench], Component]] = {
    "dect": slotted.dect, "gsm": slotted.gsm, "tetra": slotted.tetra, "dmr": slotted.dmr,
    "bluetooth_classic": slotted.bluetooth_classic,
    "lte_fdd": ofdm.lte_fdd, "lte_tdd": ofdm.lte_tdd, "nr_tdd": ofdm.nr_tdd, "nr_fdd": ofdm.nr_fdd,
    "nr_ue_tdd": ofdm.nr_ue_tdd, "dvbt": broadcast.dvbt, "umts": ofdm.umts,
    "wifi_beacon": packets.wifi_beacon, "wifi_data": packets.wifi_data,
    "bluetooth_le_adv": packets.bluetooth_le_adv, "zigbee": packets.zigbee, "lora": short_range.lora,
    "smart_meter": short_range.smart_meter, "ism_remote": short_range.ism_remote, "mode_s_1090": packets.mode_s_1090,
    "radar": radars.radar, "microwave_oven": packets.microwave_oven, unlisted.UNLISTED: unlisted.unlisted,
}  # fmt: skip


COMMON = ("dect", "gsm", "lte_fdd", "lte_tdd", "nr_tdd", "wifi_beacon", "wifi_data", "bluetooth_classic")


@dataclass(frozen=True)
class SimulatedMeter:
    """How power becomes sound: detector law, AC coupling, low-pass, span of a logarithmic detector."""

    law: str = "square"
    coupling_hz: float = 40.0
    lowpass_hz: float = 20000.0
    log_range_db: float = 45.0


@dataclass(frozen=True)
class AudioScene:
    """An invented recording with its truth."""

    samples: NDArray[np.float32]
    sample_rate_hz: int
    components: tuple[Component, ...]
    levels: tuple[float, ...]
    meter: SimulatedMeter
    nuisances: tuple[str, ...]
    snr_db: tuple[float, ...]


def detect(power: NDArray[np.float32], meter: SimulatedMeter) -> NDArray[np.float64]:
    """The detector's output voltage for a received power, full scale about 1."""
    top = float(power.max()) or 1.0
    if meter.law == "linear":
        return np.sqrt(power / top, dtype=np.float64)
    if meter.law == "log":
        return np.clip(10 * np.log10(power / top + 1e-9) / meter.log_range_db + 1, 0, None)
    return np.asarray(power / top, np.float64)


def couple(volts: NDArray[np.float64], meter: SimulatedMeter, rate_hz: float) -> NDArray[np.float64]:
    """AC coupling (one pole) and low-pass (four poles), without the switch-on step."""
    out = volts - volts.mean()
    if meter.coupling_hz > 0:
        pole = np.exp(-2 * np.pi * meter.coupling_hz / rate_hz)
        out = lfilter([(1 + pole) / 2, -(1 + pole) / 2], [1, -pole], out)
    if meter.lowpass_hz < 0.49 * rate_hz:
        out = sosfilt(butter(4, meter.lowpass_hz, fs=rate_hz, output="sos"), out)
    return np.asarray(out)


def _random_meter(rng: np.random.Generator) -> SimulatedMeter:
    law = str(rng.choice(["square", "linear", "log"], p=[0.66, 0.16, 0.18]))
    coupling = float(rng.choice([40, 0, 5, 20, 100, rng.uniform(2, 200)], p=[0.5, 0.1, 0.1, 0.1, 0.1, 0.1]))
    lowpass = float(rng.choice([20000, 15000, 10000, rng.uniform(4000, 20000)], p=[0.64, 0.12, 0.12, 0.12]))
    return SimulatedMeter(law, coupling, lowpass, float(rng.uniform(35, 60)))


def _peak(volts: NDArray[np.float64]) -> float:
    """Mean of the 20 largest excursions: the level a listener calls the loudness of the ticks."""
    size = np.abs(volts)
    if size.size > 64 * 20:
        tops = size[: size.size // 64 * 64].reshape(-1, 64).max(1)
        size = size[size >= np.partition(tops, -20)[-20]]
    return float(np.partition(size, -20)[-20:].mean()) or 1.0


def _nuisance(bench: Bench, negative: bool) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    """Leaking sounds relative to the signal's peak of 1, with their names."""
    rng = bench.rng
    total, names = np.zeros(bench.samples), []
    chance = 0.3 if negative else 0.035
    mains = float(rng.choice([50.0, 60.0]))
    makers = {
        "hum": (lambda: room.hum(bench, mains), chance + 0.08), "dimmer": (lambda: room.dimmer(bench, mains), chance * 0.8),
        "handling": (lambda: room.handling(bench), chance), "voice": (lambda: room.voice(bench), chance * 0.8),
        "music": (lambda: room.music(bench), chance * 0.8), "beeps": (lambda: room.beeps(bench), chance * 0.5),
    }  # fmt: skip
    for name, (maker, probability) in makers.items():
        if rng.random() < probability:
            span = (-20, 26) if negative else (-25, 3)
            total += maker() * 10 ** (rng.uniform(*span) / 20)
            names.append(name)
    return total, tuple(names)


def _audio_noise(rng: np.random.Generator, count: int) -> NDArray[np.float64]:
    white = rng.standard_normal(count, dtype=np.float32).astype(np.float64)
    if rng.random() < 0.7:
        pink = lfilter([1.0], [1, -0.99], rng.standard_normal(count, dtype=np.float32)) * 0.141
        white += rng.uniform(0, 0.6) * pink
    return np.asarray(white / white.std())


def compose(
    rng: np.random.Generator,
    names: Sequence[str],
    *,
    duration_s: float,
    sample_rate_hz: int = 48000,
    snr_db: float = 25.0,
    meter: SimulatedMeter | None = None,
    clean: bool = False,
    clock_ppm: float = 0.0,
) -> AudioScene:
    """Build a recording in which the named technologies are heard together.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all chance; the same state gives the same recording.
    names : sequence of str
        Technologies, repeated if there are several of one; empty for a negative.
    duration_s : float
        Length [s].
    sample_rate_hz : int
        Rate of the recording [Hz].
    snr_db : float
        Typical largest excursion of the strongest component over the rms of the audio noise [dB].
    meter : Meter, optional
        The instrument; drawn at random if left out.
    clean : bool
        Leave out hum, handling, voices, music and clipping.
    clock_ppm : float
        By how much every rate reads too high because the recorder's clock runs slow [ppm].
    """
    bench = Bench(rng, float(sample_rate_hz * OVERSAMPLING) * (1 - clock_ppm * 1e-6), duration_s)
    meter = meter or _random_meter(rng)
    parts = [SOURCES[name](bench) for name in names]
    levels = [0.0 if i == 0 else float(rng.uniform(-10, 2)) for i in range(len(parts))]
    power = np.zeros(bench.samples, np.float32)
    for part, level in zip(parts, levels, strict=True):
        power += part.power * np.float32(10 ** (level / 10))
    volts = couple(detect(power, meter), meter, bench.rate_hz) if parts else np.zeros(bench.samples)
    peak = _peak(volts) if parts else 1.0
    noise = 10 ** (-snr_db / 20)
    snrs = tuple(
        _component_snr(p, lv, power, meter, bench.rate_hz) / peak / noise for p, lv in zip(parts, levels, strict=True)
    )
    audio = volts / peak
    nuisances: tuple[str, ...] = ()
    if not clean:
        leak, nuisances = _nuisance(bench, negative=not parts)
        audio = audio + leak
    audio = audio[::OVERSAMPLING] + noise * _audio_noise(rng, audio[::OVERSAMPLING].size)
    if not clean and rng.random() < 0.05:
        limit = float(np.abs(audio).max()) * rng.uniform(0.3, 0.8)
        audio, nuisances = np.clip(audio, -limit, limit), (*nuisances, "clipping")
    audio = audio / np.abs(audio).max() * 10 ** (-rng.uniform(0, 30) / 20)
    if rng.random() < 0.3:
        audio = np.round(audio * 32767) / 32768
    bare = tuple(_as_read(p, 1 + clock_ppm * 1e-6) for p in parts)
    decibels = tuple(float(20 * np.log10(s + 1e-9)) for s in snrs)
    return AudioScene(audio.astype(np.float32), sample_rate_hz, bare, tuple(levels), meter, nuisances, decibels)


def _as_read(part: Component, stretch: float) -> Component:
    """A component without its power, its rates as a recorder of this clock reads them."""
    return replace(part, power=np.zeros(0, np.float32), rates_hz=tuple(rate * stretch for rate in part.rates_hz))


BRIEF_S = 4e-5


def _component_snr(
    part: Component, level_db: float, total: NDArray[np.float32], meter: SimulatedMeter, rate_hz: float
) -> float:
    """Typical largest excursion of one component alone behind the same detector.

    Filters are left out but for pulses so short that the low-pass takes much of their height.
    """
    alone = part.power * np.float32(10 ** (level_db / 10))
    volts = alone.astype(np.float64) / (float(total.max()) or 1.0) if meter.law == "square" else detect(alone, meter)
    if part.widths_s is not None and part.widths_s.size and float(np.median(part.widths_s)) < BRIEF_S:
        volts = couple(volts, meter, rate_hz)
    return _peak(volts)


_LENGTHS_S = (1.0, 1.5, 2.0, 2.5, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 16.0)
_LENGTH_SHARES = (0.05, 0.03, 0.05, 0.04, 0.12, 0.1, 0.25, 0.2, 0.08, 0.05, 0.03)
_UNLISTED_WEIGHT = 3.0
_TWINS_SHARE = 0.2
_TWINS = (
    ("smart_meter", "lora"), ("smart_meter", "ism_remote"), ("lora", "ism_remote"), ("lte_tdd", "nr_tdd"),
    ("lte_fdd", "lte_tdd"), ("gsm", "lte_tdd"), ("nr_fdd", "lte_fdd"), ("nr_fdd", "dect"), ("nr_tdd", "dect"),
    ("zigbee", "wifi_data"), ("zigbee", "bluetooth_le_adv"), ("mode_s_1090", "bluetooth_le_adv"), ("smart_meter", "lte_fdd"),
    ("dmr", "tetra"), ("nr_ue_tdd", "bluetooth_classic"), ("umts", "dvbt"),
    ("lte_fdd", "nr_tdd"), ("gsm", "lte_fdd"), ("umts", "lte_fdd"),
)  # fmt: skip


Draw = Callable[[np.random.Generator, NDArray[np.float32], float], tuple[NDArray[np.float32], float, str]]


def _on_its_way(rng: np.random.Generator, scene: AudioScene, path: str, draw: Draw) -> AudioScene:
    """The scene after a path drawn at random, or after a named one."""
    if path:
        changed, rate_hz = paths.PATHS[path](scene.samples, float(scene.sample_rate_hz))
        return replace(scene, samples=np.asarray(changed, np.float32), sample_rate_hz=round(rate_hz), nuisances=(path,))
    samples, rate, name = draw(rng, scene.samples, float(scene.sample_rate_hz))
    kept = replace(scene, samples=np.asarray(samples, np.float32), sample_rate_hz=round(rate))
    return kept if name == "none" else replace(kept, nuisances=(*kept.nuisances, name))


def random_scene(index: int, seed: int, path: str = "", draw: Draw = paths.draw) -> AudioScene:
    """One scene of the wide random set from which the classifier's parameters are made.

    Parameters
    ----------
    path : str
        Name of a path instead of one drawn at random.
    draw : callable
        Draws a path and gives samples, rate [Hz] and name; another law of recordings than the wide one.
    """
    rng = np.random.default_rng([seed, index])
    count = int(rng.choice([0, 1, 2, 3, 4], p=[0.08, 0.48, 0.26, 0.13, 0.05]))
    pool = sorted(SOURCES)
    weights = np.array([2.0 if n in COMMON and count > 1 else 1.0 for n in pool])
    weights[pool.index(unlisted.UNLISTED)] = _UNLISTED_WEIGHT
    names = [str(n) for n in rng.choice(pool, count, replace=False, p=weights / weights.sum())]
    if count > 1 and rng.random() < _TWINS_SHARE:
        names[:2] = [str(n) for n in rng.permutation(_TWINS[rng.integers(len(_TWINS))])]
    if count > 1 and rng.random() < 0.07:
        names[1] = names[0]
    duration = float(rng.choice(_LENGTHS_S, p=_LENGTH_SHARES))
    if ("radar" in names or "lora" in names) and rng.random() < 0.8:
        duration = max(duration, 12.0)
    rate = int(rng.choice([48000, 48000, 48000, 44100]))
    snr = float(rng.choice([rng.uniform(0, 12), rng.uniform(10, 22), rng.uniform(18, 36)], p=[0.15, 0.36, 0.49]))
    clock_ppm = paths.drawn_clock_ppm(rng)
    scene = compose(rng, names, duration_s=duration, sample_rate_hz=rate, snr_db=snr, clock_ppm=clock_ppm)
    return _on_its_way(rng, scene, path, draw)


def negative_scene(index: int, seed: int, path: str = "", draw: Draw = paths.draw) -> AudioScene:
    """One recording without any transmitter, with more of what leaks in than ``random_scene`` gives."""
    rng = np.random.default_rng([seed, index, 1])
    duration = float(rng.choice([1.0, 2.5, 4, 5, 6, 8, 10, 12, 16]))
    rate = int(rng.choice([48000, 48000, 44100]))
    scene = compose(rng, (), duration_s=duration, sample_rate_hz=rate, snr_db=float(rng.uniform(0, 40)))
    return _on_its_way(rng, scene, path, draw)
