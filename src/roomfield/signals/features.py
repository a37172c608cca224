"""The evidence as numbers: what the detectors say about one block of a recording.

Each number is a physical statement (power on the lines of a comb, width of a folded burst, count of triplets).
The classifier turns them into probabilities; it never sees the samples.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.bursts import WIDTH_EDGES_S, BurstTable, Groups, find_bursts, find_groups
from roomfield.signals.combs import (
    DVB_COMBS,
    FRAME_COMBS,
    GSM_COMBS,
    MAINS_COMBS,
    OTHER_COMBS,
    CombEvidence,
    mask_comb,
    weigh_comb,
)
from roomfield.signals.conditioning import Conditioned
from roomfield.signals.folding import (
    FrameShape,
    Shape,
    describe,
    fold,
    fold_aligned,
    frame_shape,
    template_shares,
    without_subframes,
)
from roomfield.signals.kernels import subtract_profile
from roomfield.signals.spectrum import WhiteSpectrum, white_spectrum

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]


@dataclass(frozen=True)
class FoldPlan:
    """A period to fold at: its name, length, bins, edge reach, and the combs whose stretch it takes."""

    name: str
    period_s: float
    bins: int
    reach_s: float
    combs: tuple[str, ...]


FOLDS: tuple[FoldPlan, ...] = (
    FoldPlan("gsm", 0.12 / 26, 208, 1.5e-4, ("gsm217", "gsm1733")),
    FoldPlan("bt", 7.5e-3, 360, 1e-4, ("bt266", "bt133", "bt1600")),
    FoldPlan("tetra", 0.17 / 3, 680, 1e-3, ("tetra17",)),
    FoldPlan("sixty", 0.06, 720, 1e-3, ("16",)),
    FoldPlan("beacon", 0.1024, 2048, 3e-4, ("beacon100", "beacon100high", "beacon100low")),
)
FRAME = FoldPlan("frame", 0.02, 960, 6e-5, ("50odd", "100odd", "200odd", "400", "1000odd", "500odd", "2000"))
FRAME_LINES = ("50odd", "100odd", "200odd", "400", "1000odd", "2000")
TILT_EDGES_HZ = (15.0, 60.0, 200.0, 600.0, 1500.0, 4000.0, 10000.0)


@dataclass(frozen=True)
class Evidence:
    """All detectors' results for one block."""

    conditioned: Conditioned
    spectrum: WhiteSpectrum
    combs: dict[str, CombEvidence]
    profiles: dict[str, F64]
    shapes: dict[str, Shape]
    frame: FrameShape
    bursts: BurstTable
    groups: Groups
    hiss: dict[int, float]
    drift: dict[int, float]
    residual: F32

    @property
    def duration_s(self) -> float:
        """Length of the block [s]."""
        return self.conditioned.samples.size / self.conditioned.sample_rate_hz


def _stretch(combs: dict[str, CombEvidence], names: tuple[str, ...]) -> float:
    best = max(names, key=lambda n: combs[n].score)
    return 1 + combs[best].offset_ppm * 1e-6


def _fold_plan(data: Conditioned, samples: F32, combs: dict[str, CombEvidence], plan: FoldPlan) -> tuple[F64, float]:
    period = plan.period_s / _stretch(combs, plan.combs)
    return fold(samples, data.sample_rate_hz, period, plan.bins), period


def _weigh_all(spectrum: WhiteSpectrum) -> dict[str, CombEvidence]:
    """Weigh the combs in turn; lines that an earlier, certain comb explains are taken out for the later ones."""
    combs = {c.name: weigh_comb(spectrum, c) for c in (*FRAME_COMBS, *MAINS_COMBS)}
    white = spectrum.white.copy()
    for name in FRAME_LINES:
        if combs[name].score > 15:
            mask_comb(white, spectrum, 50.0, combs[name].offset_ppm)
    rest = replace(spectrum, white=white)
    combs.update({c.name: weigh_comb(rest, c) for c in GSM_COMBS})
    for name, base_hz in (("gsm217", 1 / 0.12), ("gsm1733", 26 / 0.12)):
        if combs[name].score > 15:
            mask_comb(white, spectrum, base_hz, combs[name].offset_ppm)
    combs.update({c.name: weigh_comb(rest, c) for c in OTHER_COMBS})
    for name, base_hz in (("bt266", 400 / 3), ("beacon100", 9.765625), ("tetra17", 3 / 0.17)):
        if combs[name].score > 15:
            mask_comb(white, spectrum, base_hz, combs[name].offset_ppm)
    combs.update({c.name: weigh_comb(rest, c) for c in DVB_COMBS})
    return combs


def _frame_shapes(frame: F64) -> dict[str, Shape]:
    ten = frame.reshape(2, -1).mean(0)
    reach = FRAME.reach_s
    return {
        "20ms": describe(frame, 0.02, reach),
        "10ms": describe(ten, 0.01, reach),
        "10ms-left": describe(without_subframes(ten), 0.01, reach),
        "5ms": describe(ten.reshape(2, -1).mean(0), 0.005, reach),
        "2.5ms": describe(ten.reshape(4, -1).mean(0), 0.0025, reach),
        "1ms": describe(ten.reshape(10, -1).mean(0), 0.001, 4e-5),
    }


def gather(data: Conditioned) -> Evidence:
    """Run every detector over one block."""
    spectrum = white_spectrum(data.raw, data.sample_rate_hz)
    combs = _weigh_all(spectrum)
    residual = data.samples.copy()
    frame, period = _fold_plan(data, residual, combs, FRAME)
    profiles, shapes = {"frame": frame}, _frame_shapes(frame)
    exact = max(combs[n].score for n in FRAME_LINES)
    if shapes["20ms"].strength > 8 and exact > combs["16"].score:
        subtract_profile(residual, 1 / (period * data.sample_rate_hz), frame)
    for plan in FOLDS:
        profile, period = _fold_plan(data, residual, combs, plan)
        profiles[plan.name] = profile
        shapes[plan.name] = describe(profile, plan.period_s, plan.reach_s)
        strong = max(combs[n].score for n in plan.combs) > 12
        if strong and plan.name in ("gsm", "bt", "tetra", "sixty"):
            subtract_profile(residual, 1 / (period * data.sample_rate_hz), profile)
    shapes["slot"] = describe(profiles["gsm"].reshape(8, -1).mean(0), 0.015 / 26, 4e-5)
    mains, drift, hiss = {}, {}, _hiss(data)
    for nominal in (50, 60):
        profile, drift[nominal] = _fold_mains(data, combs, nominal)
        profiles[f"mains{nominal}"] = profile
        shapes[f"mains{nominal}"] = describe(profile, 1 / nominal, 5e-4)
        mains[nominal] = _hiss_by_mains(hiss, data.sample_rate_hz, combs, nominal)
    bursts = find_bursts(residual, data.sample_rate_hz)
    ten = frame.reshape(2, -1).mean(0)
    return Evidence(
        data, spectrum, combs, profiles, shapes, frame_shape(ten), bursts, find_groups(bursts), mains, drift, residual
    )


def _mains_period(combs: dict[str, CombEvidence], nominal: int) -> float:
    best = max((combs[f"mains{nominal}odd"], combs[f"mains{nominal * 2}"]), key=lambda c: c.score)
    return 1 / (nominal * (1 + best.offset_ppm * 1e-6))


def _fold_mains(data: Conditioned, combs: dict[str, CombEvidence], nominal: int) -> tuple[F64, float]:
    return fold_aligned(data.raw, data.sample_rate_hz, _mains_period(combs, nominal), 200, 1.0)


def _hiss(data: Conditioned) -> F32:
    """Power above some kHz: the squared second difference, its rare peaks cut."""
    hiss = np.diff(data.raw, 2)
    hiss *= hiss
    limit = np.float32(np.quantile(hiss[:: max(1, hiss.size // 50000)], 0.995))
    return np.minimum(hiss, limit)


def _hiss_by_mains(hiss: F32, sample_rate_hz: float, combs: dict[str, CombEvidence], nominal: int) -> float:
    """How strongly the hiss follows the mains: peak-to-peak of its folded course over its mean."""
    profile, _ = fold_aligned(hiss, sample_rate_hz, _mains_period(combs, nominal), 20, 2.0)
    return float(np.ptp(profile) / (hiss.mean() + 1e-20))


def vector(evidence: Evidence) -> dict[str, float]:
    """The evidence as named numbers, scaled so that typical values lie within about +-5."""
    out: dict[str, float] = {}
    for name, comb in evidence.combs.items():
        if name.startswith("dvbt"):
            continue
        out[f"{name}.score"] = float(np.arcsinh(comb.score))
        out[f"{name}.hits"] = comb.hits
        for band, power in zip("lmh", comb.mean_power, strict=True):
            out[f"{name}.{band}"] = float(np.log10(max(power, 0.1)))
        if name.startswith("mains"):
            out[f"{name}.off"] = abs(comb.offset_ppm) / 1000
    dvb = sorted((evidence.combs[c.name].score for c in DVB_COMBS), reverse=True)
    out["dvbt.score"] = float(np.arcsinh(dvb[0]))
    out["dvbt.lead"] = float(np.arcsinh(dvb[0]) - np.arcsinh(dvb[1]))
    for name, shape in evidence.shapes.items():
        _shape_numbers(out, name, shape)
    out.update({f"crs.{i}": v for i, v in enumerate(evidence.frame.subframes)})
    out.update({f"sub.{i}": v for i, v in enumerate(evidence.frame.means)})
    out["crs.pattern"] = evidence.frame.pattern
    out["crs.repeats"] = evidence.frame.repeats
    out["crs.half"] = evidence.frame.half_repeats
    for nominal in (50, 60):
        out[f"hiss{nominal}"] = float(np.log10(evidence.hiss[nominal] + 1e-3))
        out[f"drift{nominal}"] = evidence.drift[nominal]
    _template_numbers(out, evidence.profiles["frame"])
    _tilt_numbers(out, evidence)
    out["hum"] = float(np.log10(evidence.conditioned.hum_over_comb + 1))
    out["length"] = evidence.duration_s
    _burst_numbers(out, evidence)
    return out


def _shape_numbers(out: dict[str, float], name: str, shape: Shape) -> None:
    out[f"{name}.strength"] = float(np.log10(shape.strength + 1))
    out[f"{name}.width"] = float(np.log10(shape.width_s * 1e3 + 1e-2))
    out[f"{name}.second"] = shape.second
    out[f"{name}.spacing"] = shape.spacing_s * 1e3
    out[f"{name}.fall"] = min(shape.fall, 5.0)
    out[f"{name}.skew"] = float(np.arcsinh(shape.skew))
    out[f"{name}.gathered"] = shape.gathered
    out[f"{name}.rises"] = float(np.log1p(shape.rises))


def _template_numbers(out: dict[str, float], frame: F64) -> None:
    ten = frame.reshape(2, -1).mean(0)
    five = ten.reshape(2, -1).mean(0)
    common = np.median(ten.reshape(10, -1), axis=0)
    for name, profile, period in (("20", frame, 0.02), ("10", ten, 0.01), ("5", five, 0.005)):
        left = profile - np.tile(common, profile.size // common.size)
        for template, share in template_shares(left, period).items():
            out[f"share.{name}.{template}"] = share


def _tilt_numbers(out: dict[str, float], evidence: Evidence) -> None:
    """Colour of the noise floor, and how lopsided and peaked the samples are at several time scales."""
    floor, per_hz = evidence.spectrum.floor, evidence.spectrum.bins_per_hz
    edges = [int(hz * per_hz) for hz in (*TILT_EDGES_HZ, 0.97 * evidence.spectrum.top_hz)]
    pairs = zip(edges, edges[1:], strict=False)
    levels = [float(np.log10(floor[a:b].mean() + 1e-20)) for a, b in pairs if b > a]
    levels = levels[:-1] + [levels[-1]] * (len(TILT_EDGES_HZ) - len(levels) + 1)
    for i, level in enumerate(levels[:-1]):
        out[f"tilt.{i}"] = level - levels[-1]
    samples = evidence.residual
    for factor in (1, 4, 16, 64, 256):
        samples = samples if factor == 1 else samples[: samples.size // 4 * 4].reshape(-1, 4).mean(1)
        scaled = np.clip(samples / (float(samples.std()) + 1e-12), -20, 20)
        square = scaled * scaled
        out[f"skew.{factor}"] = float(np.arcsinh((square * scaled).mean()))
        out[f"peaked.{factor}"] = float(np.arcsinh((square * square).mean() - 3))


def _burst_numbers(out: dict[str, float], evidence: Evidence) -> None:
    table, groups = evidence.bursts, evidence.groups
    counts, _ = np.histogram(table.widths_s, WIDTH_EDGES_S)
    sharp = table.sharpness > 0.5
    sharp_counts, _ = np.histogram(table.widths_s[sharp], WIDTH_EDGES_S)
    for i, (every, crisp) in enumerate(zip(counts, sharp_counts, strict=True)):
        out[f"bursts.{i}"] = float(np.log1p(every))
        out[f"crisp.{i}"] = float(np.log1p(crisp))
    total = table.starts_s.size
    out["bursts.total"] = float(np.log1p(total))
    out["bursts.sharp"] = float(sharp.mean()) if total else 0.0
    out["bursts.duty"] = float(table.widths_s.sum() / evidence.duration_s)
    for name, values in (("width", table.widths_s), ("height", table.heights)):
        quartiles = np.quantile(values, [0.1, 0.5, 0.9]) if total else np.full(3, 1e-5)
        out[f"bursts.{name}"] = float(np.log10(quartiles[1] + 1e-6))
        out[f"bursts.{name}.spread"] = float(np.log10((quartiles[2] + 1e-6) / (quartiles[0] + 1e-6)))
    gaps = np.diff(table.starts_s) if total > 2 else np.array([9.0, 9.0])
    low, mid, high = np.quantile(gaps, [0.1, 0.5, 0.9])
    out["gaps.low"], out["gaps.mid"], out["gaps.high"] = (float(np.log10(v + 1e-5)) for v in (low, mid, high))
    out["groups.triplets"] = float(np.log1p(groups.triplets))
    out["groups.answered"] = float(np.log1p(groups.answered))
    out["groups.trains"] = float(np.log1p(groups.trains))
    out["groups.telegrams"] = float(np.log1p(groups.telegrams))
    out["groups.in_telegrams"], out["groups.in_trains"] = groups.in_telegrams, groups.in_trains
    out["groups.in_triplets"] = groups.in_triplets
    out["groups.turn"] = groups.turn_s
    out["scatter.ratio"] = float(np.log10(table.scatter[3] / table.scatter[0]))
    out["scatter.slow"] = float(np.log10(table.scatter[4] / table.scatter[0]))
    raw = evidence.conditioned.raw
    out["loud"] = float(np.log10(raw.std() / (table.scatter[0] + 1e-9)))
