"""Cellular downlinks as complex waveforms on the standards' resource grids, and the power that a detector sees.

Nothing here is shared with the simulator of the ear, which lays out powers of symbols: subcarriers are modulated, transformed,
sent through a channel of a few paths and squared. Positions follow TS 36.211 clauses 4, 6.6 to 6.11 (LTE), TS 38.211
clauses 5.3, 7.4 and TS 38.213 clause 4.1 (NR), TS 25.211 clause 5.3.3 (UMTS) and TS 45.002, 45.004 (GSM), from memory where a
number is not a position.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import chain

import numpy as np

RATE_HZ = 96000
LTE_SIZES = {6: 128, 15: 256, 25: 512, 50: 1024, 100: 2048}
NR_SIZES = {(15, 52): 1024, (30, 24): 512, (30, 51): 1024}
LAYOUTS = ("DSUUUDSUUU", "DSUUDDSUUD", "DSUDDDSUDD", "DSUUUDDDDD", "DSUUDDDDDD", "DSUDDDDDDD", "DSUUUDSUUD")
SPECIAL_SLOTS = ("DDDDDDDDDDGGUU", "DDDDDDGGGGUUUU", "DDDDDDDDDDDDGG")


def qpsk(rng: np.random.Generator, *shape: int) -> np.ndarray:
    """Random symbols of mean power one."""
    return ((2 * rng.integers(0, 2, shape) - 1) + 1j * (2 * rng.integers(0, 2, shape) - 1)) / np.sqrt(2)


def traffic(rng: np.random.Generator, count: int, load: float, spell: float) -> np.ndarray:
    """Share of the resource blocks that each block of time uses: downloads, small packets, nothing."""
    if load >= 1:
        return np.full(count, rng.uniform(0.9, 1.0))
    out = np.zeros(count)
    at = 0
    while at < count and load > 0:
        length = max(1, int(rng.exponential(spell)))
        part = out[at : at + length]
        if rng.random() < load:
            part[:] = np.where(rng.random(part.size) < 0.9, rng.uniform(0.5, 1.0), 0.0)
        else:
            part[:] = np.where(rng.random(part.size) < 0.1 * load, rng.uniform(0.05, 0.4), 0.0)
        at += length
    return out


def ofdm_power(rng: np.random.Generator, grids: Iterator[np.ndarray], size: int, guards: np.ndarray, seconds: float):
    """Power at 96 kHz of frames of 10 ms given as grids ``[port, symbol, subcarrier]``, through a channel of three paths."""
    samples = int((size + guards).sum())
    channel, out = None, []
    while len(out) * 0.01 < seconds + 0.02:
        grid = next(grids)
        ports, symbols, width = grid.shape
        if channel is None:
            delays = np.r_[0.0, rng.exponential(0.3e-6, 2)]
            gains = (rng.standard_normal((ports, 3)) + 1j * rng.standard_normal((ports, 3))) * 0.6 ** np.arange(3)
            offsets = (np.arange(width) - width / 2) * samples / 0.01 / size
            channel = gains @ np.exp(-2j * np.pi * delays[:, None] * offsets)
            channel /= np.sqrt((np.abs(channel) ** 2).mean())
        received = np.zeros((symbols, size), np.complex64)
        spectrum = (grid * channel[:, None]).sum(0)
        received[:, 1 : width // 2 + 1] = spectrum[:, width // 2 :]
        received[:, -(width // 2) :] = spectrum[:, : width // 2]
        power = np.abs(np.fft.ifft(received, axis=1)) ** 2
        whole = np.concatenate([np.concatenate([row[-guard:], row]) for row, guard in zip(power, guards, strict=True)])
        out.append(whole.reshape(RATE_HZ // 100, -1).mean(1))
    course = np.concatenate(out)
    return (course / course.max()).astype(np.float32)


@dataclass(frozen=True)
class LteCell:
    """An LTE downlink; ``seen`` resource blocks about the centre are what the receiver takes in (0: all)."""

    rng: np.random.Generator
    blocks: int = 50
    layout: str = "D" * 10
    load: float = 0.1
    ports: int = 2
    special: int = 10
    seen: int = 0
    spell: float = 6.0
    uplink_db: float | None = None
    boost_db: float = 0.0

    @cached_property
    def tones(self) -> int:
        return 12 * self.blocks

    @cached_property
    def references(self) -> np.ndarray:
        return 10 ** (self.boost_db / 20) * qpsk(self.rng, self.ports, 140, self.tones)

    @cached_property
    def shift_and_window(self) -> tuple[int, int]:
        return int(self.rng.integers(6)), int(self.rng.choice([8, 16, 32]))

    def about_centre(self, width: int) -> slice:
        return slice((self.tones - width) // 2, (self.tones + width) // 2)

    def port_references(self, port: int, length: int) -> list[tuple[int, np.ndarray]]:
        """Symbol and subcarriers of a port's references within a subframe of so many symbols."""
        out = []
        for symbol in (0, 4, 7, 11) if port < 2 else (1, 8):
            upper = (symbol in (4, 11)) if port < 2 else (symbol == 8)
            first = (3 * (upper ^ (port % 2 == 1)) + self.shift_and_window[0]) % 6
            if symbol < length:
                out.append((symbol, np.arange(first, self.tones, 6)))
        return out

    def sync(self, subframe: int) -> list:
        """Synchronisation signals of one subframe: symbol and sequence of 62."""
        order = np.arange(62)
        primary = np.exp(-1j * np.pi * 25 * order * (order + 1) / 63)
        secondary = 2.0 * np.random.default_rng(subframe).integers(0, 2, 62) - 1
        if "U" in self.layout:
            return {0: [(13, secondary)], 5: [(13, secondary)], 1: [(2, primary)], 6: [(2, primary)]}.get(subframe, [])
        return [(5, secondary), (6, primary)] if subframe in (0, 5) else []

    def data(self, length: int, share: float, extra: int) -> np.ndarray:
        """Control and data of a subframe on one or two antennas ``[antenna, 14, tones]``; ``extra`` system information."""
        rng, used = self.rng, np.zeros((14, self.tones))
        control = 1 if self.load < 0.3 else int(rng.integers(1, 4 if length == 14 else 3))
        regions = rng.random(self.blocks) < min(1.0, 0.06 + 0.12 * rng.random() + 0.6 * (share > 0))
        used[:control] = np.repeat(regions, 12)
        mine = round(share * self.blocks)
        first = int(rng.integers(0, self.blocks - mine + 1))
        chosen = rng.permutation(self.blocks)[:mine] if rng.random() < 0.3 else np.arange(first, first + mine)
        for block in [*chosen, *rng.permutation(self.blocks)[:extra]]:
            used[control:length, 12 * block : 12 * block + 12] = 1
        antennas = min(self.ports, 2)
        return used * qpsk(rng, antennas, *used.shape) / np.sqrt(antennas)

    def downlink(self, rows: np.ndarray, frame: int, n: int, share: float) -> None:
        """Fill one downlink subframe of the grid ``[port, 14, tones]``."""
        length = 14 if self.layout[n] == "D" else self.special
        window_at = 0 if "U" in self.layout else 4
        extra = 6 * (n == 5 and frame % 2 == 0) + 8 * (n == window_at and frame % self.shift_and_window[1] == 1)
        rows[:2] = self.data(length, share, min(extra, self.blocks))
        if n == 0:
            rows[:, 7:11, self.about_centre(72)] = qpsk(self.rng, self.ports, 4, 72) / np.sqrt(self.ports)
        holes = [self.port_references(port, length) for port in range(self.ports)]
        for symbol, at in chain(*holes):
            rows[:, symbol, at] = 0
        for port, places in enumerate(holes):
            for symbol, at in places:
                rows[port, symbol, at] = self.references[port, 14 * n + symbol, at]
        for symbol, sequence in self.sync(n):
            rows[:, symbol, self.about_centre(72)] = 0
            rows[0, symbol, self.about_centre(62)] = sequence

    def uplink(self, rows: np.ndarray, share: float) -> None:
        wide = int(self.tones * share)
        if self.uplink_db is not None and wide:
            rows[0, :, :wide] = 10 ** (self.uplink_db / 20) * qpsk(self.rng, 14, wide)

    def grids(self, frames: int) -> Iterator[np.ndarray]:
        shares = traffic(self.rng, 10 * frames, self.load, self.spell)
        answers = traffic(self.rng, 10 * frames, min(1.0, self.load + 0.2), 5)
        for frame in range(frames):
            grid = np.zeros((self.ports, 140, self.tones), complex)
            for n, letter in enumerate(self.layout):
                rows, at = grid[:, 14 * n : 14 * n + 14], 10 * frame + n
                if letter == "U":
                    self.uplink(rows, answers[at])
                else:
                    self.downlink(rows, frame, n, shares[at])
            yield grid[:, :, self.about_centre(12 * (self.seen or self.blocks))]


def lte(rng: np.random.Generator, seconds: float, **how) -> np.ndarray:
    """Power at 96 kHz of an LTE downlink."""
    cell = LteCell(rng, **how)
    size = LTE_SIZES[cell.seen or cell.blocks]
    guards = np.tile(np.r_[size * 160 // 2048, np.full(6, size * 144 // 2048)], 20)
    return ofdm_power(rng, cell.grids(int(seconds * 100) + 8), size, guards, seconds)


@dataclass(frozen=True)
class NrCell:
    """An NR downlink with synchronisation blocks, system information, tracking references and slots of data."""

    rng: np.random.Generator
    spacing: int = 30
    blocks: int = 51
    pattern: str = "DDDSU"
    load: float = 0.0
    period_ms: int = 20
    beams: int = 1
    spell: float = 6.0
    uplink_db: float | None = None

    @cached_property
    def slots(self) -> int:
        """Slots of a frame."""
        return 10 * self.spacing // 15

    @cached_property
    def special(self) -> str:
        return str(self.rng.choice(SPECIAL_SLOTS))

    def symbols(self, number: int, kind: str) -> np.ndarray:
        """Symbols of one direction in a slot."""
        letter = self.pattern[number % len(self.pattern)]
        return np.flatnonzero(np.array(list(self.special if letter == "S" else 14 * letter)) == kind)

    def data(self, rows: np.ndarray, down: np.ndarray, share: float) -> None:
        """Control in the first symbol, data and demodulation references after it, or control alone."""
        rng = self.rng
        if share > 0:
            wide = max(1, int(share * self.blocks))
            first = 12 * int(rng.integers(0, self.blocks - wide + 1))
            rows[down, first : first + 12 * wide] = qpsk(rng, down.size, 12 * wide)
            rows[0] = np.repeat(rng.random(self.blocks) < rng.uniform(0.1, 0.6), 12) * qpsk(rng, rows.shape[1])
            for symbol in {2, 11} & set(down.tolist()):
                rows[symbol, ::2] *= np.sqrt(2)
                rows[symbol, 1::2] = 0
        elif rng.random() < 0.05 + 0.3 * self.load:
            wide = 12 * int(rng.integers(1, 8))
            rows[0, :wide] = qpsk(rng, wide)

    def beacons(self, grid: np.ndarray, frame: int, tracking: int, edge: int, heights: np.ndarray) -> None:
        """Tracking references in two slots of every second frame, and synchronisation blocks."""
        for slot in (tracking, tracking + 1) if frame % 2 == 0 else ():
            if self.symbols(frame * self.slots + slot, "D").size == 14:
                rows = grid[14 * slot : 14 * slot + 14]
                rows[4:9:4, ::4] = np.sqrt(2) * qpsk(self.rng, 2, rows[0, ::4].size)
        for half in range(2):
            if (frame * 10 + 5 * half) % self.period_ms == 0:
                for beam, height in enumerate(heights):
                    first = 7 * self.slots * half + 14 * (beam // 2) + (2, 8)[beam % 2]
                    grid[first : first + 4, edge : edge + 240] = height * _sync_block(self.rng)

    def grids(self, frames: int) -> Iterator[np.ndarray]:
        rng, slots = self.rng, self.slots
        shares = traffic(rng, slots * frames, self.load, self.spell)
        answers = traffic(rng, slots * frames, min(1.0, self.load + 0.1), 5)
        heights = np.r_[1.0, 10 ** (-rng.exponential(6, self.beams - 1) / 20)]
        tracking, edge = int(rng.integers(1, slots - 1)), 12 * int(rng.integers(0, self.blocks - 19))
        information = int(rng.choice([2, 4, 16]))
        for frame in range(frames):
            grid = np.zeros((14 * slots, 12 * self.blocks), complex)
            for number in range(frame * slots, (frame + 1) * slots):
                rows = grid[14 * (number % slots) : 14 * (number % slots) + 14]
                down, up = self.symbols(number, "D"), self.symbols(number, "U")
                if down.size:
                    self.data(rows, down, shares[number])
                if self.uplink_db is not None and answers[number] > 0:
                    rows[up] = 10 ** (self.uplink_db / 20) * qpsk(rng, up.size, rows.shape[1])
            if frame % information == 0:
                grid[14:24, :96] = qpsk(rng, 10, 96)
            self.beacons(grid, frame, tracking, edge, heights)
            yield grid[None]


def nr(rng: np.random.Generator, seconds: float, **how) -> np.ndarray:
    """Power at 96 kHz of an NR downlink."""
    cell = NrCell(rng, **how)
    size = NR_SIZES[cell.spacing, cell.blocks]
    guards = np.full(14 * cell.slots, size * 144 // 2048)
    guards[:: 7 * cell.slots // 10] += size * 16 * cell.slots // 20480
    return ofdm_power(rng, cell.grids(int(seconds * 100) + 8), size, guards, seconds)


def _sync_block(rng: np.random.Generator) -> np.ndarray:
    """Four symbols of 240 subcarriers: primary, broadcast, secondary between broadcast, broadcast."""
    block = qpsk(rng, 4, 240)
    block[0, :56] = block[0, 183:] = 0
    block[2, 48:56] = block[2, 183:192] = 0
    return block


def umts(rng: np.random.Generator, seconds: float, load: float = 0.4) -> np.ndarray:
    """A W-CDMA carrier at chip rate: common pilot under a scrambling code of one frame, synchronisation, traffic of 24 codes."""
    chips, slot = 38400, 2560
    code, sync = qpsk(rng, chips), qpsk(rng, 256)
    swing = np.repeat(10 ** (rng.normal(0, 0.8, int(seconds * 10) + 2) / 20), 10)
    users, out = 1 + int(24 * load), []
    for frame in range(int(seconds * 100) + 2):
        sent = np.full(chips, np.sqrt(0.1), complex)
        for _ in range(users):
            spread = np.tile(2 * rng.integers(0, 2, 64) - 1, chips // 64)
            sent += np.sqrt(0.8 * load / users) * swing[frame] * np.repeat(qpsk(rng, chips // 64), 64) * spread
        within = np.arange(chips) % slot
        sent += np.where(within >= 256, np.sqrt(0.032) * np.repeat(qpsk(rng, chips // 256), 256), 0)
        sent *= code
        for first in range(0, chips, slot):
            sent[first : first + 256] += np.sqrt(0.066) * sync + np.sqrt(0.045) * qpsk(rng, 256)
        out.append((np.abs(sent) ** 2).reshape(-1, 40).mean(1))
    return np.concatenate(out).astype(np.float32)


def gsm(rng: np.random.Generator, seconds: float, slots=(2,), base: bool = False, dip_db: float = -20.0) -> np.ndarray:
    """Bursts of 148 bits in slots of 156.25: a handset that skips one frame of 26, or a base's carrier that dips between."""
    fine = 4 * RATE_HZ
    at = np.arange(int(seconds * fine)) / fine * 1625e3 / 6
    number, bit = np.divmod(at, 156.25)
    number = number.astype(int)
    ramp = np.clip(np.minimum(bit, 148 - bit) / (3.0 if base else 2.7), 0, 1)
    floor = 10 ** (dip_db / 20) if base else 0.0
    power = (floor + (1 - floor) * np.sin(np.pi / 2 * ramp) ** 2) ** 2
    on = np.isin(number % 8, slots) & (base | (number // 8 % 26 != 25))
    return (power * on).reshape(-1, 4).mean(1).astype(np.float32)
