"""What was heard: plain values, ready for JSON."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

CLAIM = 0.5


@dataclass(frozen=True)
class MeterAudio:
    """How the instrument turns power into sound; needed before any quantity can be measured on the sound.

    Attributes
    ----------
    detector_law : str
        ``square`` (voltage follows power), ``linear`` (follows field strength) or ``log``.
    coupling_hz : float
        Corner of the AC coupling [Hz]; 0 if the output is DC coupled.
    lowpass_hz : float or None
        Corner of the audio low-pass [Hz].
    log_db_per_full_scale : float or None
        Span of a logarithmic detector over full scale of the recording [dB]; needed for ``log``.
    known_level_w_m2 : float or None
        Average power density during the known span [W/m2], from a simultaneous reading or calibration tone.
    known_span_s : tuple of float or None
        Start and end of that span [s]; the whole recording if left out.
    """

    detector_law: str
    coupling_hz: float
    lowpass_hz: float | None = None
    log_db_per_full_scale: float | None = None
    known_level_w_m2: float | None = None
    known_span_s: tuple[float, float] | None = None


@dataclass(frozen=True)
class EvidenceItem:
    """One reason: ``kind`` is rate, width, shape, group, mains or level; the text is for a reader."""

    kind: str
    text: str
    value: float | None = None
    unit: str = ""


@dataclass(frozen=True)
class Periodicity:
    """A repetition found in the recording.

    Attributes
    ----------
    frequency_hz, frequency_std_hz : float
        Rate and its standard deviation, the recorder's own clock error left out [Hz].
    significance : float
        Power on its lines above expectation, in standard deviations of noise [1].
    log10_false_alarm : float
        Log of the chance that noise alone shows such a repetition anywhere in the search.
    lines : int
        Number of harmonic lines counted.
    explained_by : tuple of str
        Technologies in whose table the rate stands; empty: unknown.
    label : str
        What repeats, in words.
    """

    frequency_hz: float
    frequency_std_hz: float
    significance: float
    log10_false_alarm: float
    lines: int
    explained_by: tuple[str, ...] = ()
    label: str = ""


@dataclass(frozen=True)
class Heard:
    """One technology with the probability that it is in the recording and the reasons.

    ``burst_width_s`` and ``burst_width_std_s`` are None where the recording shows no one width.
    """

    name: str
    title: str
    probability: float
    evidence: tuple[EvidenceItem, ...]
    indistinguishable_from: tuple[str, ...]
    remark: str
    rates: tuple[Periodicity, ...] = ()
    burst_width_s: float | None = None
    burst_width_std_s: float | None = None

    @property
    def claimed(self) -> bool:
        """Whether it is more likely there than not."""
        return self.probability >= CLAIM


@dataclass(frozen=True)
class BurstSummary:
    """Bursts left after the repeating signals are taken out.

    Heights are relative to full scale of the recording; the table holds at most the first 2,000 bursts.
    """

    count: int
    per_second: float
    width_quantiles_s: tuple[float, float, float]
    height_median: float
    starts_s: F64
    widths_s: F64
    heights: F64


@dataclass(frozen=True)
class FoldedEnvelope:
    """Mean course of one period [full scale of the recording, mean removed]."""

    name: str
    period_s: float
    levels: F64


@dataclass(frozen=True)
class SpectrumPicture:
    """Spectrum for a figure: strongest line over the local noise floor in each of the bands."""

    frequencies_hz: F64
    over_floor_db: F64


@dataclass(frozen=True)
class OmittedSpan:
    """A stretch left out of the searches, and why."""

    start_s: float
    end_s: float
    reason: str


@dataclass(frozen=True)
class Measured:
    """Quantities that hold only with the given detector law and coupling."""

    duty_cycle: float
    crest_factor_db: float
    power_shares: dict[str, float]
    average_w_m2: float | None
    peak_w_m2: float | None


@dataclass(frozen=True)
class HeardSpan:
    """What one stretch of a recording says by itself: ends [s], and the technologies that are not practically excluded."""

    start_s: float
    end_s: float
    chances: dict[str, float]


@dataclass(frozen=True)
class HearingAnswer:
    """The whole answer in one.

    Attributes
    ----------
    kind : str
        ``named`` (technologies are claimed), ``set`` (one of several is there, which one cannot be told), ``pulsed`` (a
        repetition that no listed technology has), ``transmitter`` (there is one, kind not told), ``bursts`` (so many single
        bursts of a transmitter, kind not told), ``tone``, ``mains``,
        ``sounds`` (voices, clicks) or ``nothing``.
    names : tuple of str
        Technologies claimed, or those of which one is there.
    probability : float
        That the answer holds, where it names something or says that there is a transmitter.
    rates_hz : tuple of float
        Repetitions of no listed technology, beside names too; or the tone [Hz].
    bursts : int
        Single crisp bursts.
    """

    kind: str
    names: tuple[str, ...] = ()
    probability: float = 0.0
    rates_hz: tuple[float, ...] = ()
    bursts: int = 0


@dataclass(frozen=True)
class Hearing:
    """The ear's answer for one recording.

    ``transmitter`` is the probability that there is any transmitter, listed or not; ``warnings`` say what is wrong with the
    recording and how to make a better one; ``clock_ppm`` is by how much every rate reads too high because of the recorder, and
    its standard deviation, as far as transmitters of known clocks tell. ``span_s`` is the length of the stretch that bursts,
    profiles and spectrum are of [s]; ``course`` tells a recording of several stretches one by one.
    """

    source: str
    duration_s: float
    sample_rate_hz: float
    verdict: str
    technologies: tuple[Heard, ...]
    periodicities: tuple[Periodicity, ...]
    bursts: BurstSummary
    profiles: tuple[FoldedEnvelope, ...]
    spectrum: SpectrumPicture
    excluded: tuple[OmittedSpan, ...]
    clipped_fraction: float
    hum_hz: float | None
    measured: Measured | None
    unknowns: tuple[str, ...] = field(default=())
    answer: HearingAnswer = HearingAnswer("nothing")
    transmitter: float = 0.0
    warnings: tuple[str, ...] = ()
    clock_ppm: tuple[float, float] | None = None
    span_s: float = 0.0
    course: tuple[HeardSpan, ...] = ()

    @property
    def claimed(self) -> tuple[Heard, ...]:
        """Technologies more likely there than not, the most certain first."""
        return tuple(h for h in self.technologies if h.claimed)

    def to_dict(self) -> dict[str, Any]:
        """The whole answer as plain JSON values."""
        answer: dict[str, Any] = plain(self)
        answer["claimed"] = [h.name for h in self.claimed]
        return answer


def plain(value: Any) -> Any:
    """Dataclasses, arrays and tuples as JSON values; not-a-number and infinity become null."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, np.ndarray):
        return [plain(v) for v in value.tolist()]
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (tuple, list)):
        return [plain(v) for v in value]
    if isinstance(value, (float, np.floating)):
        return float(value) if np.isfinite(value) else None
    return value.item() if isinstance(value, np.generic) else value
