"""Groups that other bursts may interrupt: pulse trains, triplets, frames with their answers.

Each count is held against a control: the same search at steps or gaps slightly off, which bursts at
random meet as often.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.audio_kernels import (
    above_around,
    follow_trains,
    gap_matches,
    peaks_above,
    step_matches,
)
from roomfield.signals.bursts import BurstTable
from roomfield.signals.folding import vertex

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

PULSE_SIGMA = 3.6
PULSES_PER_S = 150.0
PULSE_AROUND_S = 2.5e-4
STEP_LIMITS_S = (3.0e-4, 4.2e-3)
LEAST_PULSES = 6
SAME_STEP = 0.006
ANSWER_GAP_S = 192e-6
ANSWER_S = 352e-6
LONGEST_TRAIN_S = 0.3
CONTROL_S = 130e-6
SLACK_S = 32e-6
PULSE_SCATTER_S = 5e-6


@dataclass(frozen=True)
class Trains:
    """Pulse trains that share one step.

    Attributes
    ----------
    count : int
        Trains of the commonest step.
    step_s : float
        That step [s]; 0 if there is none.
    pulses : int
        Pulses in the longest of them.
    share : float
        Pulses in them over all pulses.
    others : int
        Trains of other steps, and trains too long for a passing beam.
    spacing_s : float
        Median time between them [s]; 0 if fewer than two.
    rate_hz, rate_std_hz : float
        Pulse rate from all pulses of these trains, kept in phase from one to the next, and its standard deviation [Hz].
    """

    count: int
    step_s: float
    pulses: int
    share: float
    others: int
    spacing_s: float
    rate_hz: float = 0.0
    rate_std_hz: float = 0.0


def pulse_times(samples: F32, sample_rate_hz: float) -> F64:
    """Times of short peaks above the noise, at most 150 a second, the highest kept [s]."""
    reach = max(3, round(PULSE_AROUND_S * sample_rate_hz))
    above = above_around(samples, reach)
    sigma = 1.4826 * float(np.median(np.abs(above[:: max(1, above.size // 60000)]))) + 1e-12
    at = peaks_above(above, np.float32(PULSE_SIGMA * sigma))
    most = int(PULSES_PER_S * samples.size / sample_rate_hz)
    if at.size > most:
        at = np.sort(at[np.argpartition(above[at], -most)[-most:]])
    return np.asarray((at + vertex(above[at - 1], above[at], above[at + 1])) / sample_rate_hz, np.float64)


def find_trains(samples: F32, sample_rate_hz: float) -> Trains:
    """Trains of at least six evenly spaced short pulses, one miss allowed between any two."""
    times = pulse_times(samples, sample_rate_hz)
    if times.size < LEAST_PULSES:
        return Trains(0, 0.0, 0, 0.0, 0, 0.0)
    begins, steps, lengths = follow_trains(times, *STEP_LIMITS_S, 1.2 / sample_rate_hz, LEAST_PULSES)
    short = (lengths - 1) * steps < LONGEST_TRAIN_S
    if not short.any():
        return Trains(0, 0.0, 0, 0.0, int(steps.size), 0.0)
    own = steps[short]
    alike = np.abs(own[:, None] / own[None, :] - 1) < SAME_STEP
    weight = (alike * lengths[short][None, :]).sum(1)
    best = alike[int(np.argmax(weight))]
    starts = times[begins[short][best]]
    members = [
        _members(times, times[b], step, int(count), 1.2 / sample_rate_hz)
        for b, step, count in zip(begins[short][best], own[best], lengths[short][best], strict=True)
    ]
    rate_hz, rate_std_hz = _common_rate(members)
    return Trains(
        count=int(best.sum()),
        step_s=float(np.median(own[best])),
        pulses=int(lengths[short][best].max()),
        share=float(lengths[short][best].sum()) / times.size,
        others=int(steps.size - best.sum()),
        spacing_s=float(np.median(np.diff(starts))) if starts.size > 1 else 0.0,
        rate_hz=rate_hz,
        rate_std_hz=rate_std_hz,
    )


def _members(times: F64, begin_s: float, step_s: float, count: int, slack_s: float) -> F64:
    """Pulses of a train: those on the grid of its step."""
    near = times[(times >= begin_s) & (times <= begin_s + 2 * count * step_s)]
    order = np.rint((near - begin_s) / step_s)
    on_grid = near[np.abs(near - begin_s - order * step_s) <= slack_s]
    return np.asarray(on_grid[:count])


def _common_rate(trains: list[F64]) -> tuple[float, float]:
    """Rate of pulses whose clock runs on between the trains.

    Straight lines through each train give the rate to some hundred ppm; the phase of each train against the common clock
    then narrows it, as far as the first answer leaves no doubt about the count of pulses in between.
    """
    slopes, weights = [], []
    trains = [pulses for pulses in trains if pulses.size >= LEAST_PULSES // 2]
    if not trains:
        return 0.0, 0.0
    for pulses in trains:
        order = np.rint((pulses - pulses[0]) / np.median(np.diff(pulses)))
        slopes.append(float(np.polyfit(order, pulses, 1)[0]))
        weights.append(float(((order - order.mean()) ** 2).sum()))
    step = float(np.average(slopes, weights=weights))
    every = np.concatenate(trains)
    scatter = PULSE_SCATTER_S / float(np.sqrt(sum(weights))) / step**2
    offsets = np.linspace(-3, 3, 601) * scatter
    fits = np.abs(np.exp(2j * np.pi * (1 / step + offsets)[:, None] * (every - every.mean())).sum(1))
    best = int(np.argmax(fits - 1e-3 * every.size * (offsets / scatter) ** 2))
    spread = float(np.sqrt(((every - every.mean()) ** 2).sum()))
    return float(1 / step + offsets[best]), PULSE_SCATTER_S / step / spread


def _score(hits: int, control: float) -> float:
    return (hits - control) / float(np.sqrt(control + 1.0))


def triplet_score(table: BurstTable) -> tuple[int, float]:
    """Three like bursts at equal steps under 2.5 ms: how many, and the excess over the control."""
    short = table.widths_s < 480e-6
    starts, widths, heights = table.starts_s[short], table.widths_s[short], table.heights[short]
    if starts.size < 3:
        return 0, 0.0
    hits = step_matches(starts, widths, heights, 2.5e-3, 0.0, SLACK_S)
    control = 0.5 * sum(step_matches(starts, widths, heights, 2.5e-3, off, SLACK_S) for off in (-CONTROL_S, CONTROL_S))
    return int(hits), _score(hits, control)


def answer_score(table: BurstTable) -> tuple[int, float]:
    """Frames answered after 192 us by 352 us: how many, and the excess over the control."""
    if table.starts_s.size < 2:
        return 0, 0.0
    arrays = table.starts_s, table.widths_s
    hits = gap_matches(*arrays, ANSWER_GAP_S, ANSWER_S, SLACK_S)
    control = 0.5 * sum(gap_matches(*arrays, ANSWER_GAP_S + off, ANSWER_S, SLACK_S) for off in (-CONTROL_S, CONTROL_S))
    return int(hits), _score(hits, control)
