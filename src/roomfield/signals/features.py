"""The evidence as numbers: what the detectors say about one block of a recording.

Each number is a physical statement (power on the lines of a comb, width of a folded burst, count of triplets).
The classifier turns them into probabilities; it never sees the samples.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_kernels import kth_smallest, moments, scatter, subtract_course, thin_samples
from roomfield.signals.bursts import (
    LATTICE_WIDTHS_S,
    LATTICES_S,
    WIDTH_EDGES_S,
    WIDTH_LATTICES,
    BurstGroups,
    BurstTable,
    crisp_long,
    find_bursts,
    find_groups,
    lattice,
    lone_bursts,
    longest_run,
)
from roomfield.signals.cleaning import CERTAIN, RemovedFrame, clean, contrasts, take_off
from roomfield.signals.combs import (
    BEACON_COMBS,
    DVB_COMBS,
    FRAME_COMBS,
    GSM_COMBS,
    MAINS_COMBS,
    SLOT_COMBS,
    Comb,
    CombEvidence,
    mask_comb,
    weigh_comb,
)
from roomfield.signals.conditioning import Conditioned
from roomfield.signals.faint import faint_numbers, find_faint
from roomfield.signals.folding import (
    FrameShape,
    ProfileShape,
    describe,
    fold,
    fold_aligned,
    frame_shape,
    nodes,
    template_shares,
    without_subframes,
)
from roomfield.signals.frame_models import frame_model_numbers
from roomfield.signals.spectrum import WhiteSpectrum, white_spectrum
from roomfield.signals.symbol_grid import course_of_changes, grid_numbers, guard_numbers
from roomfield.signals.telegrams import telegram_numbers
from roomfield.signals.tonal_share import tonal_share
from roomfield.signals.trains import Trains, answer_score, find_trains, triplet_score

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
TAKEN_BASES_HZ = {"bt": 400 / 3, "tetra": 3 / 0.17, "sixty": 50 / 3}
COMBS: dict[str, Comb] = {c.name: c for c in (*FRAME_COMBS, *GSM_COMBS, *SLOT_COMBS, *BEACON_COMBS, *MAINS_COMBS)}
HISS_BINS = 40
GAIN_STEPS_S, LEAST_GAIN_STEPS = 0.25, 8
LONG_S = ((2.5e-3, 2e-2), (2e-2, 0.15), (0.15, 2.5))
LINE_EDGES_HZ = (50.0, 350.0, 700.0, 1100.0, 1600.0, 2200.0, 2800.0, 3400.0)
LINE_THIRDS_HZ = (50.0, 800.0, 2000.0, 3400.0)
TILT_EDGES_HZ = (15.0, 60.0, 200.0, 600.0, 1500.0, 4000.0, 10000.0)


@dataclass(frozen=True)
class Evidence:
    """All detectors' results for one block."""

    conditioned: Conditioned
    spectrum: WhiteSpectrum
    combs: dict[str, CombEvidence]
    profiles: dict[str, F64]
    shapes: dict[str, ProfileShape]
    frame: FrameShape
    bursts: BurstTable
    groups: BurstGroups
    hiss: dict[int, float]
    drift: dict[int, float]
    residual: F32
    contrasts: dict[str, tuple[float, float]]
    taken: tuple[RemovedFrame, ...]
    trains: Trains

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


def frame_with_lows(evidence: Evidence) -> F64:
    """The course of 20 ms as it is to be looked at: with the lines that were taken for hum, where an exact frame stands on them.

    Hum is notched up to 1.2 kHz before anything is searched, and the lines of a clock that lie on it go with it: what is left of a
    pulse rings at the end of the gap.
    """
    data, combs = evidence.conditioned, evidence.combs
    if data.hum_hz is None or max(combs[name].score for name in FRAME_LINES) < CERTAIN:
        return evidence.profiles[FRAME.name]
    return _fold_plan(data, data.raw, combs, FRAME)[0]


def _weigh_all(
    first: WhiteSpectrum, clean_one: WhiteSpectrum, taken: tuple[RemovedFrame, ...]
) -> tuple[dict[str, CombEvidence], WhiteSpectrum]:
    """Weigh the combs in turn; lines that an earlier, certain comb explains are taken out for the later ones.

    Frames of 10 and 20 ms and the mains are weighed in the cleaned spectrum, the rest in the first one, which comes back
    without the lines of a frame that is certain.
    """
    combs = {c.name: weigh_comb(clean_one, c) for c in (*FRAME_COMBS, *MAINS_COMBS)}
    white = first.white.copy()
    for name in FRAME_LINES:
        if combs[name].score > CERTAIN:
            mask_comb(white, first, 50.0, combs[name].offset_ppm)
    rest, frameless = replace(first, white=white), replace(first, white=white.copy())
    combs.update({c.name: weigh_comb(rest, c) for c in GSM_COMBS})
    for frame in taken:
        if frame.name == "gsm":
            mask_comb(white, first, 1 / 0.12, frame.offset_ppm)
    combs.update({c.name: weigh_comb(rest, c) for c in SLOT_COMBS})
    for frame in taken:
        if frame.name in TAKEN_BASES_HZ:
            mask_comb(white, first, TAKEN_BASES_HZ[frame.name], frame.offset_ppm)
    combs.update({c.name: weigh_comb(rest, c) for c in BEACON_COMBS})
    if combs["beacon100"].score > CERTAIN:
        mask_comb(white, first, 9.765625, combs["beacon100"].offset_ppm)
    combs.update({c.name: weigh_comb(rest, c) for c in DVB_COMBS})
    return combs, frameless


def _frame_shapes(frame: F64) -> dict[str, ProfileShape]:
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
    first = white_spectrum(data.raw, data.sample_rate_hz, data.top_hz)
    spectrum, taken = clean(data.raw, data.sample_rate_hz, first)
    combs, frameless = _weigh_all(first, spectrum, taken)
    profiles, shapes, residual = _fold_all(data, combs, taken)
    mains, drift, hiss = {}, {}, _hiss(data)
    period = FRAME.period_s / _stretch(combs, FRAME.combs)
    profiles["hiss"] = fold(hiss, data.sample_rate_hz, period, HISS_BINS) + float(hiss.mean())
    profiles["changes"] = course_of_changes(data.samples, data.sample_rate_hz, period, profiles["frame"])
    for nominal in (50, 60):
        profile, drift[nominal] = _fold_mains(data, combs, nominal)
        profiles[f"mains{nominal}"] = profile
        shapes[f"mains{nominal}"] = describe(profile, 1 / nominal, 5e-4)
        mains[nominal] = _hiss_by_mains(hiss, data.sample_rate_hz, combs, nominal)
    bursts = find_bursts(residual, data.sample_rate_hz)
    beside = contrasts(spectrum, frameless, combs, COMBS)
    frame = frame_shape(profiles["frame"].reshape(2, -1).mean(0))
    groups = find_groups(bursts)
    return Evidence(
        data, first, combs, profiles, shapes, frame, bursts, groups, mains, drift, residual, beside, taken,
        find_trains(residual, data.sample_rate_hz),
    )  # fmt: skip


def _fold_all(
    data: Conditioned, combs: dict[str, CombEvidence], taken: tuple[RemovedFrame, ...]
) -> tuple[dict[str, F64], dict[str, ProfileShape], F32]:
    """Profiles and shapes of all frames, and the samples less what repeats exactly."""
    rate, names = data.sample_rate_hz, {t.name for t in taken}
    residual = data.samples.copy()
    for off in taken:
        take_off(residual, rate, off.period_s)
    frame, period = _fold_plan(data, residual, combs, FRAME)
    profiles, shapes = {"frame": frame}, _frame_shapes(frame)
    if shapes["20ms"].strength > 8 and max(combs[n].score for n in FRAME_LINES) > CERTAIN:
        subtract_course(residual, 1 / (period * rate), nodes(residual, rate, period))
    for plan in FOLDS:
        profile, period = _fold_plan(data, data.samples if plan.name in names else residual, combs, plan)
        profiles[plan.name] = profile
        shapes[plan.name] = describe(profile, plan.period_s, plan.reach_s)
        strong = max(combs[n].score for n in plan.combs) > 12
        if strong and plan.name in ("gsm", "bt", "tetra", "sixty") and plan.name not in names:
            subtract_course(residual, 1 / (period * rate), nodes(residual, rate, period))
    shapes["slot"] = describe(profiles["gsm"].reshape(8, -1).mean(0), 0.015 / 26, 4e-5)
    return profiles, shapes, residual


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
    for name, (low_band, high_band) in evidence.contrasts.items():
        out[f"beside.{name}.low"], out[f"beside.{name}.high"] = low_band, high_band
    for name in ("gsm", "bt", "sixty", "tetra"):
        out[f"taken.{name}"] = float(any(t.name == name for t in evidence.taken))
    _template_numbers(out, evidence.profiles["frame"])
    _line_numbers(out, evidence.profiles["frame"])
    _hiss_numbers(out, evidence.profiles["hiss"])
    out.update(frame_model_numbers(evidence.profiles["frame"]))
    out.update(guard_numbers(evidence.spectrum.white, evidence.spectrum.bins_per_hz))
    _tilt_numbers(out, evidence)
    out.update(grid_numbers(evidence.profiles["frame"], evidence.profiles["changes"], 10 ** out["band.top"]))
    out["hum"] = float(np.log10(evidence.conditioned.hum_over_comb + 1))
    out["length"] = evidence.duration_s
    _burst_numbers(out, evidence)
    _run_numbers(out, evidence)
    _lone_numbers(out, evidence)
    out["tonal"] = tonal_share(evidence.spectrum)
    _path_numbers(out, evidence.conditioned)
    out.update(faint_numbers(*find_faint(evidence.residual, evidence.conditioned.sample_rate_hz)))
    out.update(telegram_numbers(evidence.residual, evidence.conditioned.sample_rate_hz))
    out.update(slot_leads(out))
    return out


def slot_leads(numbers: dict[str, float]) -> dict[str, float]:
    """How far Bluetooth's slots stand before the grids of others on which they partly lie: 2.5 ms is four slots."""
    cellular = [f"lattice.{step}.wide" for step in (500, 1000, 2500)]
    slots = [f"lattice.{step}.wide" for step in (625, 1250)]
    return {
        "slots.lead": max(numbers[f"{k}.score"] for k in slots) - max(numbers[f"{k}.score"] for k in cellular),
        "slots.mean": max(numbers[k] for k in slots) - max(numbers[k] for k in cellular),
        "slots.both": min(numbers[f"{k}.score"] for k in slots) - max(numbers[f"{k}.score"] for k in cellular),
        "slots.single": numbers["lattice.625.slot.score"] - numbers["lattice.417.slot.score"],
        "slots.brief": numbers["lattice.625.brief.score"] - numbers["lattice.1000.brief.score"],
        "slots.cellular": max(numbers[k] for k in cellular),
    }


def _shape_numbers(out: dict[str, float], name: str, shape: ProfileShape) -> None:
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


def _line_numbers(out: dict[str, float], frame: F64) -> None:
    """How the power of the 20 ms course is spread over its lines below 3.4 kHz, which a telephone's line lets through.

    The lines of a burst of width w fall as (sin(pi f w) / (pi f w))^2 whatever the band above leaves, and which multiples of
    50 Hz carry them tells the repetition: odd ones 20 ms, odd ones of 100 Hz 10 ms, and so on.
    """
    lines_hz = np.arange(1, int(LINE_EDGES_HZ[-1] / 50.0) + 1) * 50.0
    power = np.abs(np.fft.rfft(frame)[1 : lines_hz.size + 1]) ** 2
    total = float(power.sum()) + 1e-30

    def share(chosen: NDArray[np.bool_]) -> float:
        return float(np.log10(max(float(power[chosen].sum()) / total, 1e-4)))

    for low, high in zip(LINE_EDGES_HZ, LINE_EDGES_HZ[1:], strict=False):
        out[f"lines.{low:.0f}"] = share((lines_hz >= low) & (lines_hz < high))
    orders = np.arange(1, lines_hz.size + 1)
    kinds = {"20ms": orders % 2 == 1, "10ms": orders % 4 == 2, "5ms": orders % 8 == 4, "2.5ms": orders % 8 == 0}
    kinds["1ms"] = orders % 20 == 0
    for low, high in zip(LINE_THIRDS_HZ, LINE_THIRDS_HZ[1:], strict=False):
        inside = (lines_hz >= low) & (lines_hz < high)
        for kind, mine in kinds.items():
            out[f"lines.{kind}.{low:.0f}"] = share(inside & mine)


def _hiss_numbers(out: dict[str, float], course: F64) -> None:
    """How the hiss of a wideband carrier goes with the 20 ms frame: silent parts of it tell time division."""
    mean = float(course.mean()) + 1e-30
    half = course.reshape(2, -1).mean(0)
    for name, levels in (("20", course), ("10", half)):
        for share in (0.0, 0.15, 0.35, 0.65, 0.85, 1.0):
            level = float(np.quantile(levels, share))
            out[f"hiss.{name}.{share:.2f}"] = float(np.log10(max(level / mean, 1e-3)))
    centred = course - mean
    power = float((centred**2).mean()) + 1e-30
    for parts in (2, 4, 8, 20):
        out[f"hiss.repeats.{20 / parts:g}"] = float((centred.reshape(parts, -1).mean(0) ** 2).mean()) / power
    out["hiss.power"] = float(np.log10(power / mean**2 + 1e-9))


def _tilt_numbers(out: dict[str, float], evidence: Evidence) -> None:
    """Colour of the noise floor, and how lopsided and peaked the samples are at several time scales."""
    floor, per_hz = evidence.spectrum.floor, evidence.spectrum.bins_per_hz
    edges = [int(hz * per_hz) for hz in (*TILT_EDGES_HZ, 0.97 * evidence.spectrum.top_hz)]
    pairs = zip(edges, edges[1:], strict=False)
    levels = [float(np.log10(floor[a:b].mean() + 1e-20)) for a, b in pairs if min(b, floor.size) > a]
    levels = levels[:-1] + [levels[-1]] * (len(TILT_EDGES_HZ) - len(levels) + 1)
    for i, level in enumerate(levels[:-1]):
        out[f"tilt.{i}"] = level - levels[-1]
    out["band.top"] = float(np.log10(band_top_hz(evidence.spectrum)))
    samples = evidence.residual
    for factor in (1, 4, 16, 64, 256):
        samples = samples if factor == 1 else thin_samples(samples, 4)
        third, fourth = moments(samples)
        out[f"skew.{factor}"] = float(np.arcsinh(third))
        out[f"peaked.{factor}"] = float(np.arcsinh(fourth - 3))


def band_top_hz(spectrum: WhiteSpectrum) -> float:
    """Where the recording's band ends: the highest frequency whose floor is within 30 dB of that at 1 to 3 kHz [Hz]."""
    low, high = (int(hz * spectrum.bins_per_hz) for hz in (1000.0, min(3000.0, 0.9 * spectrum.top_hz)))
    floor = spectrum.floor[low::64]
    heard = np.flatnonzero(floor > 1e-3 * float(np.median(spectrum.floor[low:high])))
    return float((low + 64 * int(heard[-1] if heard.size else 0)) / spectrum.bins_per_hz)


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
    for i, (low, high) in enumerate(LONG_S):
        count, share, height = crisp_long(table, low, high)
        out[f"long.{i}"], out[f"long.{i}.share"] = float(np.log1p(count)), share
        out[f"long.{i}.height"] = float(np.arcsinh(height))
    wide = table.widths_s > LONG_S[0][0]
    out["long.steady"] = float(np.median(table.steady[wide])) if wide.any() else 0.0
    _lattice_numbers(out, table)
    out["triplets.hits"], out["triplets.score"] = _count_and_score(*triplet_score(table))
    out["answers.hits"], out["answers.score"] = _count_and_score(*answer_score(table))
    trains = evidence.trains
    out["trains.count"], out["trains.others"] = float(np.log1p(trains.count)), float(np.log1p(trains.others))
    out["trains.pulses"], out["trains.share"] = float(np.log1p(trains.pulses)), trains.share
    out["trains.step"], out["trains.spacing"] = trains.step_s * 1e3, trains.spacing_s
    out["loud"] = float(np.log10(max(scatter(raw), 1e-12) / (table.scatter[0] + 1e-9)))


def _run_numbers(out: dict[str, float], evidence: Evidence) -> None:
    run = longest_run(evidence.bursts)
    out["run.marks"], out["run.length"] = float(np.log1p(run.marks)), float(np.log10(run.length_s + 1e-3))
    out["run.even"], out["run.classes"] = run.even, float(np.log2(max(run.classes, 1.0)))
    out["run.brief"], out["run.share"] = float(np.log10(run.brief_s + 1e-5)), run.share
    out["run.again"], out["run.grid"] = float(np.log1p(run.again)), run.grid


def _lone_numbers(out: dict[str, float], evidence: Evidence) -> None:
    lone = lone_bursts(evidence.bursts, evidence.residual, evidence.conditioned.sample_rate_hz)
    out["lone.count"], out["lone.alone"] = float(np.log1p(lone.count)), lone.alone
    for name, width_s in (("least", lone.least_s), ("middle", lone.middle_s), ("most", lone.most_s)):
        out[f"lone.{name}"] = float(np.log10(width_s + 1e-3))
    out["lone.height"], out["lone.flutter"] = float(np.arcsinh(lone.height)), float(np.log10(lone.flutter + 1e-2))
    out["lone.falls"] = float(np.log10(lone.falls + 1e-2))


def _path_numbers(out: dict[str, float], data: Conditioned) -> None:
    """What the way of the recording left of the sound: its rate, and whether a gain follows the loudness."""
    out["path.rate"] = float(np.log10(2 * data.top_hz))
    out["path.moved"], out["path.against"] = background_motion(data)


def background_motion(data: Conditioned) -> tuple[float, float]:
    """How far the quiet background moves [decades], and its correlation with the loudest parts; zeros if too short."""
    step = int(GAIN_STEPS_S * data.sample_rate_hz)
    count = data.samples.size // step
    if count < LEAST_GAIN_STEPS:
        return 0.0, 0.0
    sizes = np.abs(data.samples[: count * step]).reshape(count, step)
    floor = np.log10([kth_smallest(row, step // 5) + 1e-9 for row in sizes])
    loud = np.log10(sizes.max(1) + 1e-9)
    moved = float(np.ptp(np.quantile(floor, [0.1, 0.9])))
    if floor.std() < 1e-6 or loud.std() < 1e-6:
        return moved, 0.0
    return moved, float(np.corrcoef(floor, loud)[0, 1])


def _lattice_numbers(out: dict[str, float], table: BurstTable) -> None:
    for step_s in LATTICES_S:
        mean, score = lattice(table, step_s)
        out[f"lattice.{step_s * 1e6:.0f}"], out[f"lattice.{step_s * 1e6:.0f}.score"] = mean, float(np.arcsinh(score))
    for kind, step_s in WIDTH_LATTICES:
        mean, score = lattice(table, step_s, LATTICE_WIDTHS_S[kind])
        key = f"lattice.{step_s * 1e6:.0f}.{kind}"
        out[key], out[f"{key}.score"] = mean, float(np.arcsinh(score))


def _count_and_score(count: int, score: float) -> tuple[float, float]:
    return float(np.log1p(count)), float(np.arcsinh(score))
