"""Reasons a reader can check: which rate, which width, which folded shape, which grouping."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from roomfield.references.technologies import Technology, technology
from roomfield.signals.base_clocks import ClockedSource, told_apart
from roomfield.signals.beacon_times import beacon_lines
from roomfield.signals.cleaning import CERTAIN, take_off
from roomfield.signals.combs import CRYSTAL_PPM, DVB_COMBS, Comb, CombEvidence, weigh_comb
from roomfield.signals.features import COMBS, FRAME, Evidence
from roomfield.signals.hearing import EvidenceItem, Heard, Periodicity
from roomfield.signals.periodicity import log10_gamma_tail, refine_rate
from roomfield.signals.spectrum import white_spectrum
from roomfield.signals.telegrams import Beam, lone_telegrams, passing_beam
from roomfield.signals.trains import answer_score, triplet_score
from roomfield.signals.width_reasons import number, resolution_s, width_reason

SEEN_SCORE = 6.0
FAINT_BESIDE = 0.12
TWICE, FEW_BETWEEN = 1e-6, 0.4
TURN_SCATTER = 2e-3
SAME_STEP = 0.02
BESIDE_FRAMES = ("bluetooth_classic",)
BY_BEACONS = ("wifi_beacon", "wifi_data")
BY_SINGLE_BURSTS = "wifi_beacon"  # traffic defers beacons, which blurs the folded one
TU_HZ = 1e6 / 1024

# Comb that must stand out, nominal rate [Hz], words. "any": every one that stands out; "first": the first that does.
RATE_CHOICES: dict[str, tuple[str, tuple[tuple[str, float, str], ...]]] = {
    "dect": ("first", (("100odd", 100.0, "frame"), ("200odd", 100.0, "frame"))),
    "gsm": ("first", (("gsm217", 26 / 0.12, "TDMA frame"), ("gsm1733", 208 / 0.12, "time slot"))),
    "lte_fdd": ("first", (("200odd", 200.0, "half frame"), ("1000odd", 1000.0, "subframe"))),
    "lte_tdd": ("first", (("200odd", 200.0, "half frame"), ("1000odd", 1000.0, "subframe"))),
    "nr_fdd": ("first", (("25odd", 25.0, "synchronisation, 40 ms"), ("50odd", 50.0, "synchronisation, 20 ms"),
                         ("100odd", 100.0, "synchronisation, 10 ms"), ("200odd", 200.0, "synchronisation, 5 ms"))),
    "nr_tdd": ("first", (("25odd", 25.0, "synchronisation, 40 ms"), ("50odd", 50.0, "synchronisation, 20 ms"),
                         ("100odd", 100.0, "synchronisation, 10 ms"), ("200odd", 200.0, "5 ms pattern"),
                         ("400", 400.0, "2.5 ms pattern"), ("500odd", 500.0, "2 ms pattern"))),
    "nr_ue_tdd": ("first", (("100odd", 100.0, "10 ms pattern"), ("200odd", 200.0, "5 ms pattern"),
                            ("400", 400.0, "2.5 ms pattern"), ("500odd", 500.0, "2 ms pattern"))),
    "wifi_beacon": ("first", (("beacon200", TU_HZ / 200, "beacon, 200 TU"), ("beacon300", TU_HZ / 300, "beacon, 300 TU"),
                              ("beacon100", TU_HZ / 100, "beacon, 100 TU"), ("beacon100low", TU_HZ / 100, "beacon, 100 TU"))),
    "wifi_data": ("first", (("beacon100", TU_HZ / 100, "beacon, 100 TU"), ("beacon100low", TU_HZ / 100, "beacon, 100 TU"))),
    "bluetooth_classic": ("first", (("bt133", 400 / 3, "twelve slots"), ("bt266", 800 / 3, "six slots"),
                                    ("bt800", 800.0, "slot pair"), ("bt1600", 1600.0, "slot"))),
    "tetra": ("first", (("tetra17", 3 / 0.17, "TDMA frame"), ("tetra18k", 18000.0, "symbol"))),
    "dmr": ("first", (("16", 50 / 3, "TDMA frame"),)),
    "umts": ("first", (("umts1500", 1500.0, "slot"),)),
}  # fmt: skip
TOP_HZ = {"wifi_beacon": 1500.0, "wifi_data": 1000.0, "dmr": 3000.0}

# Frames that are left out (the eighteenth of a multiframe, pauses, a second bearer) make the blocks of a recording unlike, which
# their scatter tells too little of; factors by simulation (16 emitters each on seeds 1 to 4 of the rate benchmark).
WIDER = {"tetra": 1.4, "dmr": 1.3, "dect": 1.2}

# Deviations by simulation (72 emitters each at 8 kHz, by logarithms of 8 bits, and two speech codecs, which a file does not tell
# apart when saved again): what is told covers them together.
TELEPHONE_TOP_HZ, CODEC_SAMPLE_S = 4200.0, 125e-6
HELD_BACK_S, TO_AND_FRO_S = 4e-6, 1.5e-6
BEACONS_WIDER = 2.0
FEW_EDGES = {"dmr": 5.0}  # one burst in 60 ms: what is done to it is not averaged over others in other places
SLOTS_NEAR = 0.5e-6
CLEARLY_APART = 4.0

TAKEN_AS = {"gsm": "gsm", "bluetooth_classic": "bt", "tetra": "tetra", "dmr": "sixty"}


def _periodicity(
    evidence: Evidence, name: str, nominal_hz: float, label: str, reach_ppm: float = CRYSTAL_PPM
) -> Periodicity:
    top = TOP_HZ.get(name, 12000.0)
    comb = Comb(label, nominal_hz, top_hz=max(min(top, 128 * nominal_hz), 1.01 * nominal_hz), reach_ppm=reach_ppm)
    weighed = weigh_comb(evidence.spectrum, comb)
    data = evidence.conditioned
    samples = without_others(name, evidence)
    start = nominal_hz * (1 + weighed.offset_ppm * 1e-6)
    refined = refine_rate(samples, data.sample_rate_hz, start, evidence.spectrum, top_hz=top, span_cycles=0.6)
    lines = comb.lines_hz(evidence.spectrum.top_hz).size
    trials = max(1.0, 2 * reach_ppm * 1e-6 * comb.top_hz * evidence.duration_s)
    total = weighed.score * np.sqrt(lines) + lines
    chance = min(0.0, log10_gamma_tail(float(total), max(lines, 1)) + float(np.log10(trials)))
    if abs(refined.frequency_hz / nominal_hz - 1) > 1.5 * reach_ppm * 1e-6:
        std_hz = min(0.2 / evidence.duration_s * nominal_hz / comb.top_hz, nominal_hz * reach_ppm * 1e-6 / np.sqrt(3.0))
        return Periodicity(start, float(std_hz), weighed.score, chance, lines, (name,), label)
    doubt = _grid_doubt_s(evidence, refined.frequency_hz / nominal_hz - 1) / evidence.duration_s
    doubt *= FEW_EDGES.get(name, 1.0)
    std_hz = float(np.hypot(refined.std_hz * WIDER.get(name, 1.0), doubt * refined.frequency_hz))
    return Periodicity(refined.frequency_hz, std_hz, weighed.score, chance, lines, (name,), label)


def on_telephone_band(evidence: Evidence) -> bool:
    """Whether the band ends where a speech codec's does."""
    return resolution_s(evidence) > 0.5 / TELEPHONE_TOP_HZ


def _grid_doubt_s(evidence: Evidence, offset: float) -> float:
    """What a speech codec may have moved a frame by along the recording [s]; 0 for bands that none of them has.

    Codecs of 8 kHz set their pulses on samples, in blocks of 5 ms that every listed frame shares. A frame that drifts by less
    than a sample against them is held back, one that drifts by more is moved to and fro.
    """
    if not on_telephone_band(evidence):
        return 0.0
    drift_s = abs(offset) * evidence.duration_s
    return HELD_BACK_S if drift_s < CODEC_SAMPLE_S else TO_AND_FRO_S


def without_others(name: str, evidence: Evidence) -> NDArray[np.float32]:
    """The samples less the frames of other technologies that cleaning is certain of: their lines pull at a rate."""
    data = evidence.conditioned
    others = [t for t in evidence.taken if t.name != TAKEN_AS.get(name)]
    if not others:
        return data.samples
    samples = data.samples.copy()
    for other in others:
        take_off(samples, data.sample_rate_hz, other.period_s)
    return samples


def without_frame(name: str, evidence: Evidence) -> Evidence:
    """The evidence less a certain frame of 10 or 20 ms whose lines lie on a technology's own; as it is for all others."""
    combs = {comb: COMBS[comb] for comb, _, _ in RATE_CHOICES[name][1]}
    frame = max(FRAME.combs, key=lambda n: evidence.combs[n].score)
    strong = evidence.combs[frame].score
    if name not in BESIDE_FRAMES or strong < CERTAIN or strong < max(evidence.combs[n].score for n in combs):
        return evidence
    data = evidence.conditioned
    start = 50.0 * (1 + evidence.combs[frame].offset_ppm * 1e-6)
    rate_hz = refine_rate(data.samples, data.sample_rate_hz, start, evidence.spectrum, span_cycles=0.1).frequency_hz
    samples = data.samples.copy()
    take_off(samples, data.sample_rate_hz, 1 / rate_hz)
    spectrum = white_spectrum(samples, data.sample_rate_hz, data.top_hz)
    weighed = {comb: weigh_comb(spectrum, law) for comb, law in combs.items()}
    return replace(
        evidence, conditioned=replace(data, samples=samples), spectrum=spectrum, combs=evidence.combs | weighed
    )


def rates_of(name: str, evidence: Evidence) -> tuple[Periodicity, ...]:
    """Primary rates of a technology as this recording shows them."""
    if name == "radar":
        return _radar_rates(evidence)
    if name == "microwave_oven":
        return _mains_rates(evidence)
    if name == "dvbt":
        best = max(DVB_COMBS, key=lambda c: evidence.combs[c.name].score)
        return (_periodicity(evidence, name, 4 * best.base_hz, "OFDM symbol"),)
    if name not in RATE_CHOICES:
        return ()
    evidence = without_frame(name, evidence)
    found = [_periodicity(evidence, name, nominal, label) for nominal, label in _first_choice(name, evidence)]
    if name == "nr_tdd" and found and found[0].label.startswith("sync"):
        for comb, nominal, label in RATE_CHOICES[name][1][3:]:
            if evidence.combs[comb].score >= 2 * SEEN_SCORE:
                found.append(_periodicity(evidence, name, nominal, label))
    return _by_source(name, evidence, tuple(found))


def _by_source(name: str, evidence: Evidence, found: tuple[Periodicity, ...]) -> tuple[Periodicity, ...]:
    """The rate of each transmitter of one kind as far as clocks tell them apart, the most certain first."""
    if name in BY_BEACONS:
        main = found[0] if found else _periodicity(evidence, name, TU_HZ / 100, "beacon, 100 TU")
        units = round(TU_HZ / main.frequency_hz)
        lines = beacon_lines(evidence.bursts, evidence.duration_s, TU_HZ / units)
        wider = BEACONS_WIDER if on_telephone_band(evidence) else 1.0
        return (
            tuple(
                replace(main, frequency_hz=n.frequency_hz, frequency_std_hz=wider * n.frequency_std_hz) for n in lines
            )
            or found
        )
    if not found:
        return ()
    data = evidence.conditioned
    sources = told_apart(data.samples, data.sample_rate_hz, name, found[0].frequency_hz)
    doubt_hz = _grid_doubt_s(evidence, 0.0) / evidence.duration_s * found[0].frequency_hz
    sources = sources[:1] + tuple(s for s in sources[1:] if not _keeps_slots(s, name, evidence))
    own = [s for i, s in enumerate(sources) if all(_clocks_differ(s, other, doubt_hz) for other in sources[:i])]
    if len(own) < 2:
        return found
    deviations = [float(np.hypot(s.frequency_std_hz, doubt_hz)) for s in own]
    return (
        tuple(
            replace(found[0], frequency_hz=s.frequency_hz, frequency_std_hz=std)
            for s, std in zip(own, deviations, strict=True)
        )
        + found[1:]
    )


def _keeps_slots(source: ClockedSource, name: str, evidence: Evidence) -> bool:
    """Whether a source beside the strongest keeps the clock of a GSM carrier, the third harmonic of whose slots, 5.2 kHz, is a
    line of every frame of 10 ms.
    """
    if max(evidence.combs[comb].score for comb, _, _ in RATE_CHOICES["gsm"][1]) < CERTAIN:
        return False
    (_, frame_hz, label), (_, own_hz, _) = RATE_CHOICES["gsm"][1][0], RATE_CHOICES[name][1][0]
    carrier = _periodicity(evidence, "gsm", frame_hz, label).frequency_hz / frame_hz
    return abs(source.frequency_hz / own_hz / carrier - 1) < SLOTS_NEAR


def _clocks_differ(one: ClockedSource, other: ClockedSource, doubt_hz: float) -> bool:
    """Whether two sources differ by more than what a codec may hold back the bursts of one clock by."""
    return abs(one.frequency_hz - other.frequency_hz) > CLEARLY_APART * np.sqrt(2.0) * doubt_hz


def _apart_item(rates: tuple[Periodicity, ...]) -> list[EvidenceItem]:
    """That several transmitters of one kind are told apart, if they are."""
    alike = [r for r in rates if r.label == rates[0].label]
    if len(alike) < 2:
        return []
    off = [(r.frequency_hz / alike[0].frequency_hz - 1) * 1e6 for r in alike[1:]]
    told = ", ".join(f"{ppm:+.1f}" for ppm in off)
    return [
        EvidenceItem("group", f"{len(alike)} senders told apart by their clocks: {told} ppm from the first", len(alike))
    ]


def _first_choice(name: str, evidence: Evidence) -> list[tuple[float, str]]:
    """Nominal rate [Hz] and words of the slowest repetition that stands out; none if none does.

    A slower one whose lines are faint beside those of a faster one is what data or system information leave, no frame.
    """
    choices = RATE_CHOICES[name][1]
    scores = [evidence.combs[comb].score for comb, _, _ in choices]
    for index, (comb, nominal, label) in enumerate(choices):
        faster = [score for (_, hz, _), score in zip(choices, scores, strict=True) if hz > nominal]
        doubles = [other for other, hz, _ in choices if abs(hz / nominal - 2) < TWICE]
        stands = scores[index] >= max(SEEN_SCORE, FAINT_BESIDE * max(faster, default=0.0))
        if stands and not any(_leftover(evidence.combs[comb], evidence.combs[other]) for other in doubles):
            return [(nominal, label)]
    return []


def _beam(evidence: Evidence) -> Beam:
    return passing_beam(evidence.residual, evidence.conditioned.sample_rate_hz)


def _whole_times(step_s: float, beam: Beam) -> int:
    """How often the step of the beam goes into that of the trains: on narrow paths every second pulse may be missed."""
    times = step_s / beam.step_s if beam.passages else 1.0
    whole = max(1, round(times))
    return whole if abs(times / whole - 1) < SAME_STEP else 1


def _leftover(slow: CombEvidence, double: CombEvidence) -> bool:
    """Whether a few lines between those of twice the rate are what a codec's frames leave, and no period twice as long."""
    return slow.score < double.score and slow.hits < FEW_BETWEEN * double.hits


def _radar_rates(evidence: Evidence) -> tuple[Periodicity, ...]:
    trains, groups, duration = evidence.trains, evidence.groups, evidence.duration_s
    beam = _beam(evidence)
    turn_s = trains.spacing_s or groups.turn_s
    if beam.turn_s and beam.passages > trains.count:
        turn_s = beam.turn_s
    count = max(trains.count, groups.trains, beam.passages)
    out = []
    if turn_s > 0:
        rate = 1 / turn_s
        std = max(rate * TURN_SCATTER / np.sqrt(max(count - 1, 1)), 0.1 * rate * turn_s / duration / max(count, 1))
        out.append(Periodicity(rate, float(std), float(count), 0.0, count, ("radar",), "turn"))
    rate, std = trains.rate_hz, trains.rate_std_hz
    if rate == 0:
        rate, std = groups.train_rate_hz, groups.train_rate_hz * 1e-3
    if rate > 0:
        times = _whole_times(1 / rate, beam)
        doubt = 0.5 / turn_s if turn_s > 0 else 0.0  # whether pulses run on in step from turn to turn is not known
        out.append(
            Periodicity(times * rate, max(times * std, doubt), float(count), 0.0, count, ("radar",), "pulse rate")
        )
    return tuple(out)


def _mains_rates(evidence: Evidence) -> tuple[Periodicity, ...]:
    best = max(("mains50odd", "mains60odd", "mains100", "mains120"), key=lambda n: evidence.combs[n].score)
    halves = {"mains100": "mains50odd", "mains120": "mains60odd"}
    if best in halves and evidence.combs[halves[best]].score > FAINT_BESIDE * evidence.combs[best].score:
        best = halves[best]
    comb = evidence.combs[best]
    nominal = float(best.removeprefix("mains").removesuffix("odd"))
    rate = nominal * (1 + comb.offset_ppm * 1e-6)
    return (Periodicity(rate, 0.1 / evidence.duration_s, comb.score, 0.0, 20, ("microwave_oven",), "mains period"),)


def _ppm(share: float) -> str:
    """Parts per million in two digits, without an exponent."""
    ppm = share * 1e6
    return f"{ppm:.2g}" if ppm < 99.5 else f"{round(ppm, 1 - int(np.log10(ppm))):.0f}"


def _rate_items(row: Technology, rates: tuple[Periodicity, ...]) -> list[EvidenceItem]:
    items = []
    for rate in rates:
        nominal = min((r.hz for r in row.rates), key=lambda hz: abs(hz / rate.frequency_hz - 1), default=0.0)
        offset = (
            f", {round((rate.frequency_hz / nominal - 1) * 1e6, 1) + 0.0:+.1f} ppm from nominal"
            if nominal and abs(rate.frequency_hz / nominal - 1) < 2e-4
            else ""
        )
        text = (
            f"repeats at {rate.frequency_hz:.6g} Hz ± {_ppm(rate.frequency_std_hz / rate.frequency_hz)} ppm "
            f"({rate.label}){offset}; "
            f"{rate.lines} lines counted, {rate.significance:.0f} standard deviations above noise"
        )
        items.append(EvidenceItem("rate", text, rate.frequency_hz, "Hz"))
    return items


def _lte_items(evidence: Evidence) -> list[EvidenceItem]:
    frame = evidence.frame
    silent = sum(v < 0.3 for v in frame.subframes)
    return [
        EvidenceItem(
            "shape", f"1 ms course matches the reference symbols with correlation {frame.pattern:.2f}", frame.pattern
        ),
        EvidenceItem("shape", f"{silent} of 10 subframes carry less than 0.3 of the strongest", float(silent)),
    ]


def _nr_items(evidence: Evidence) -> list[EvidenceItem]:
    shape = evidence.shapes["20ms"]
    text = f"20 ms course: {shape.rises:.0f} rises, strongest burst {number(shape.width_s)}, skewness {shape.skew:.1f}"
    return [EvidenceItem("shape", text, shape.width_s, "s")]


def _triplets(evidence: Evidence) -> int:
    return max(evidence.groups.triplets, triplet_score(evidence.bursts)[0])


def _ble_items(evidence: Evidence) -> list[EvidenceItem]:
    return [
        EvidenceItem(
            "group",
            f"{_triplets(evidence)} triplets of equal short bursts at equal steps",
            _triplets(evidence),
        )
    ]


def _zigbee_items(evidence: Evidence) -> list[EvidenceItem]:
    count = max(evidence.groups.answered, answer_score(evidence.bursts)[0])
    return [EvidenceItem("group", f"{count} frames answered after 192 µs by 352 µs", count)]


def _radar_items(evidence: Evidence) -> list[EvidenceItem]:
    count = max(evidence.trains.count, evidence.groups.trains)
    items = [EvidenceItem("group", f"{count} trains of evenly spaced pulses", count)] if count else []
    beam = _beam(evidence)
    if beam.passages:
        text = f"{beam.passages} loud moments that repeat themselves after {number(beam.step_s)}"
        items.append(EvidenceItem("group", text, beam.step_s, "s"))
    return items


def _telegram_items(evidence: Evidence) -> list[EvidenceItem]:
    lone = lone_telegrams(evidence.residual, evidence.conditioned.sample_rate_hz)
    if lone.count == 0:
        return []
    text = (
        f"{lone.count} bursts with nothing near them, {number(lone.least_s)} to {number(lone.most_s)} from rise to fall"
    )
    return [EvidenceItem("group", text, float(lone.count))]


def _remote_items(evidence: Evidence) -> list[EvidenceItem]:
    return [
        EvidenceItem("group", f"{evidence.groups.telegrams} telegrams of on-off keyed bits", evidence.groups.telegrams)
    ]


def _oven_items(evidence: Evidence) -> list[EvidenceItem]:
    hiss = max(evidence.hiss.values())
    return [EvidenceItem("mains", f"noise above some kHz follows the mains (contrast {hiss:.2f})", hiss)]


EXTRAS: dict[str, Callable[[Evidence], list[EvidenceItem]]] = {
    "lte_fdd": _lte_items, "lte_tdd": _lte_items, "nr_tdd": _nr_items, "nr_fdd": _nr_items,
    "bluetooth_le_adv": _ble_items, "zigbee": _zigbee_items, "radar": _radar_items,
    "smart_meter": _telegram_items, "lora": _telegram_items, "ism_remote": _remote_items, "microwave_oven": _oven_items,
}  # fmt: skip


def explain(name: str, probability: float, evidence: Evidence, *, full: bool) -> Heard:
    """One technology with its reasons; without ``full`` the costly rates are left out."""
    row = technology(name)
    if not full:
        return Heard(name, row.title, probability, (), row.confusable, row.confusion)
    rates = rates_of(name, evidence)
    items = _rate_items(row, rates) + _apart_item(rates)
    samples, rates_hz = without_others(name, evidence), tuple(rate.frequency_hz for rate in rates)
    width = width_reason(row, evidence, samples, rates_hz, single=name == BY_SINGLE_BURSTS)
    if width.item is not None:
        items.append(width.item)
    if name in EXTRAS:
        items += EXTRAS[name](evidence)
    return Heard(
        name, row.title, probability, tuple(items), row.confusable, row.confusion, rates, width.width_s, width.std_s
    )
