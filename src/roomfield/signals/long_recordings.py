"""Recordings of more than one block: which blocks to hear in full, and what they say together.

Up to ``DEEP_BLOCKS`` blocks are all heard. Of longer recordings every block is sketched (how loud and how peaked it is at
six time scales); half of the places go to blocks evenly spread in time, the other half to those whose sketch is farthest
from all chosen so far, as long as it is far, so that what changes is heard and what only repeats is not heard again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from roomfield.signals.classifier import Judgement
from roomfield.signals.conditioning import condition, one_channel
from roomfield.signals.features import gather
from roomfield.signals.recording import AudioSource
from roomfield.signals.tones import judgement
from roomfield.signals.worker_memory import keep_freed_memory

F64 = NDArray[np.float64]

DEEP_BLOCKS = 32
PARALLEL_BLOCKS = 6
SKETCH_SCALES = 6
ALIKE_DECADES = 0.03
NEAR = 1.0  # squared distance, in spreads over all numbers of a sketch, within which a block only repeats a chosen one


@dataclass(frozen=True)
class BlockAnswer:
    """What one block says: where it lies, probabilities, share of clipped samples, hum if any, any transmitter at all."""

    start_s: float
    end_s: float
    chances: dict[str, float]
    clipped: float
    hum_hz: float | None
    transmitter: float = 1.0


def hear_block(cut: tuple[int, int], source: AudioSource) -> BlockAnswer:
    """Hear one block in full."""
    first, last = cut
    data = condition(source.read(first, last), source.sample_rate_hz)
    found = judgement(gather(data))
    rate = source.sample_rate_hz
    return BlockAnswer(first / rate, last / rate, found.chances, data.clipped_fraction, data.hum_hz, found.transmitter)


def sketch(cut: tuple[int, int], source: AudioSource) -> F64:
    """Loudness and peakedness of one block at time scales from one sample to 1024, as logarithms."""
    samples = one_channel(source.read(*cut))
    numbers = []
    for _ in range(SKETCH_SCALES):
        power = float(np.dot(samples, samples)) / samples.size - float(samples.mean()) ** 2
        spread, top = np.sqrt(max(power, 0.0)) + 1e-9, max(float(samples.max()), -float(samples.min()))
        numbers += [np.log10(spread), np.log10(top / spread + 1e-9)]
        fours = samples[: samples.size // 4 * 4]
        samples = np.float32(0.25) * (fours[::4] + fours[1::4] + fours[2::4] + fours[3::4])
    return np.array(numbers)


def choose(sketches: F64, places: int) -> tuple[int, ...]:
    """Indices of blocks to hear: evenly spread ones, then the farthest from all chosen, until each is near one."""
    count = sketches.shape[0]
    if count <= places:
        return tuple(range(count))
    chosen = list(dict.fromkeys(np.linspace(0, count - 1, places // 2).round().astype(int).tolist()))
    scaled = (sketches - sketches.mean(0)) / np.maximum(sketches.std(0), ALIKE_DECADES)
    distance = np.min([((scaled - scaled[i]) ** 2).sum(1) for i in chosen], axis=0)
    while len(chosen) < places:
        farthest = int(np.argmax(distance))
        if distance[farthest] < NEAR:
            break
        chosen.append(farthest)
        distance = np.minimum(distance, ((scaled - scaled[farthest]) ** 2).sum(1))
    return tuple(sorted(set(chosen)))


def combine(blocks: Sequence[BlockAnswer]) -> Judgement:
    """Probability over blocks: a technology must show in at least one block in twenty, and in two if there are many."""
    rank = 0 if len(blocks) < 3 else 1 + len(blocks) // 20

    def ranked(values: Iterable[float]) -> float:
        return float(sorted(values, reverse=True)[rank])

    chances = {name: ranked(b.chances[name] for b in blocks) for name in blocks[0].chances}
    return Judgement(chances, ranked(b.transmitter for b in blocks))


def hear_blocks(source: AudioSource, processes: int) -> list[BlockAnswer]:
    """Hear the blocks of a recording, over several processes if it is a long file."""
    cuts = source.cuts()
    if processes > 1 and len(cuts) >= PARALLEL_BLOCKS and source.path is not None:
        with ProcessPoolExecutor(processes, initializer=keep_freed_memory) as pool:
            return _heard(source, cuts, lambda work, items: list(pool.map(work, items, chunksize=2)))
    return _heard(source, cuts, lambda work, items: [work(item) for item in items])


def _heard(
    source: AudioSource,
    cuts: Sequence[tuple[int, int]],
    run: Callable[..., list],  # type: ignore[type-arg]
) -> list[BlockAnswer]:
    picked: Sequence[int] = range(len(cuts))
    if len(cuts) > DEEP_BLOCKS:
        picked = choose(np.array(run(partial(sketch, source=source), cuts)), DEEP_BLOCKS)
    return run(partial(hear_block, source=source), [cuts[i] for i in picked])
