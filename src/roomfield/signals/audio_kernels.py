"""Compiled inner loops: folding, comb scans, edges of bursts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roomfield.kernel_cache import inner, kernel

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
C128 = NDArray[np.complex128]

COARSE = 0.25  # bins a sample: with fewer, several samples in a row fall into one


# Loops over phase run period by period: a jump once a period costs less than asking at every sample.
# Differences of a running sum are taken between slices of it: places that cannot be negative are worked out several at a time.


@kernel(nogil=True)
def fold_blocks(samples: F32, step: float, bins: int, blocks: int) -> tuple[F64, F64]:
    """Sums and counts ``[block, bin]`` of samples by phase; ``step`` is the phase advance per sample."""
    sums = np.zeros((blocks, bins))
    counts = np.zeros((blocks, bins))
    n = samples.size
    for block in range(blocks):
        i = block * n // blocks
        last = (block + 1) * n // blocks
        phase = (i * step) % 1.0
        while i < last:
            if step * bins < COARSE:
                i, phase = _fold_runs(samples, i, last, phase, step, sums[block], counts[block])
            while i < last and phase < 1.0:
                b = int(phase * bins)
                sums[block, b] += samples[i]
                counts[block, b] += 1.0
                phase += step
                i += 1
            phase -= 1.0
    return sums, counts


@inner(nogil=True)
def _fold_runs(samples: F32, i: int, last: int, phase: float, step: float, sums: F64, counts: F64) -> tuple[int, float]:
    """Fold to the end of a period where many samples in a row fall into one bin; where that ends, and its phase."""
    bins = sums.size
    while i < last and phase < 1.0:
        b, first = int(phase * bins), i
        total = sums[b]
        while i < last and phase < 1.0 and int(phase * bins) == b:
            total += samples[i]
            phase += step
            i += 1
        sums[b] = total
        counts[b] += i - first
    return i, phase


@kernel(nogil=True)
def running_sum(samples: F32) -> F64:
    """Sums of the first 0 .. n samples, shape (n + 1,)."""
    out = np.empty(samples.size + 1)
    out[0] = 0.0
    total = 0.0
    for i in range(samples.size):
        total += samples[i]
        out[i + 1] = total
    return out


@kernel(nogil=True)
def fold_spans(samples: F32, step: float, nodes: int, edges: I64) -> F64:
    """Sums ``[span, node]`` of samples by phase between ``edges``; a sample between two nodes is shared by nearness.

    The phase runs on from the first sample, so that the spans can be held against each other to a small part of a sample.
    """
    sums = np.zeros((edges.size - 1, nodes))
    for span in range(edges.size - 1):
        phase = (edges[span] * step) % 1.0
        i = edges[span]
        while i < edges[span + 1]:
            while i < edges[span + 1] and phase < 1.0:
                at = phase * nodes
                low = int(at)
                part = at - low
                high = low + 1
                if high >= nodes:
                    high = 0
                if low >= nodes:
                    low = 0
                sums[span, low] += samples[i] * (1.0 - part)
                sums[span, high] += samples[i] * part
                phase += step
                i += 1
            phase -= 1.0
    return sums


@kernel(nogil=True)
def fold_between(samples: F32, step: float, count: int) -> F64:
    """What lies between each of ``count`` evenly spaced phases and the next, shape (count, 5).

    Columns: number of samples, sum of their places p between the two (0 to 1), sum of p squared, sum of the samples, sum of
    samples times p.
    """
    out = np.zeros((count + 1, 5))
    phase = 0.0
    i = 0
    while i < samples.size:
        while i < samples.size and phase < 1.0:
            at = phase * count
            low = int(at)
            part = at - low
            out[low, 0] += 1.0
            out[low, 1] += part
            out[low, 2] += part * part
            out[low, 3] += samples[i]
            out[low, 4] += samples[i] * part
            phase += step
            i += 1
        phase -= 1.0
    for column in range(5):
        out[0, column] += out[count, column]
    return out[:count]


@inner(nogil=True, inline="always")
def _level(course: F64, at: float) -> float:
    """Course at a place between nodes (0 <= at < nodes), round the circle."""
    low = int(at)
    part = at - low
    high = low + 1
    if high >= course.size:
        high = 0
    return course[low] * (1.0 - part) + course[high] * part


@kernel(nogil=True)
def subtract_course(samples: F32, step: float, profile: F64) -> None:
    """Take the course of one period off the samples in place."""
    bins = profile.size
    phase = 0.0
    i = 0
    while i < samples.size:
        while i < samples.size and phase < 1.0:
            samples[i] -= _level(profile, phase * bins)
            phase += step
            i += 1
        phase -= 1.0


@kernel(nogil=True)
def subtract_scaled(samples: F32, step: float, profile: F64, boundary: int) -> None:
    """Take a course off in place, period by period from node ``boundary`` on, each with its fitted height."""
    bins = profile.size
    phase = -boundary / bins
    while phase < 0.0:
        phase += 1.0
    shift = boundary
    first = 0
    n = samples.size
    while first < n:
        last = first
        dot = 0.0
        energy = 1e-30
        ahead = phase
        while last < n and ahead < 1.0:
            place = ahead * bins + shift
            level = _level(profile, place - bins if place >= bins else place)
            dot += level * samples[last]
            energy += level * level
            ahead += step
            last += 1
        gain = min(max(dot / energy, 0.0), 1.5)
        for i in range(first, last):
            place = phase * bins + shift
            samples[i] -= gain * _level(profile, place - bins if place >= bins else place)
            phase += step
        phase -= 1.0
        first = last


@kernel(nogil=True)
def scan_comb(white: F32, bins_per_hz: float, lines_hz: F64, offsets: F64, cap: float) -> F64:
    """Capped whitened power summed over the lines, for each relative offset of the whole comb."""
    out = np.zeros(offsets.size)
    last = white.size - 1
    for j in range(offsets.size):
        stretch = bins_per_hz * (1.0 + offsets[j])
        total = 0.0
        for k in range(lines_hz.size):
            i = int(lines_hz[k] * stretch + 0.5)
            if i <= last:
                v = white[i]
                total += v if v < cap else cap
        out[j] = total
    return out


@kernel(nogil=True)
def harmonic_sums(white: F32, first_bin: float, step_bins: float, count: int, depth: int, cap: float) -> F64:
    """Capped sums over harmonics 1 .. 2^d for fundamentals on a grid: ``[d, fundamental]``, d <= depth."""
    out = np.zeros((depth + 1, count))
    size = white.size
    for j in range(count):
        base = first_bin + step_bins * j
        total = 0.0
        done = 0
        for d in range(depth + 1):
            upto = 1 << d
            for k in range(done + 1, upto + 1):
                i = int(base * k + 0.5)
                if i < size:
                    v = white[i]
                    total += v if v < cap else cap
                else:
                    total += 1.0
            done = upto
            out[d, j] = total
    return out


@kernel(nogil=True, fastmath={"reassoc", "contract"})
def phase_line_scores(lines: C128, along: F64, weights: F64, first: float, step: float, count: int) -> F64:
    """Power of harmonics summed over blocks, for cycles ``first + step j`` gained by the fundamental over the recording.

    ``lines[block, k]`` is harmonic k + 1 of a block whose middle lies ``along`` the recording [parts of it]. Each harmonic is
    turned back by its share, the blocks are added, and the squares are summed with ``weights[k]``. From one trial to the next
    every line turns by the same angle.
    """
    blocks, harmonics = lines.shape
    real, imag = np.empty((blocks, harmonics)), np.empty((blocks, harmonics))
    turn_real, turn_imag = np.empty((blocks, harmonics)), np.empty((blocks, harmonics))
    for b in range(blocks):
        for k in range(harmonics):
            now = lines[b, k] * np.exp(-2j * np.pi * first * along[b] * (k + 1))
            turn = np.exp(-2j * np.pi * step * along[b] * (k + 1))
            real[b, k], imag[b, k] = now.real, now.imag
            turn_real[b, k], turn_imag[b, k] = turn.real, turn.imag
    out = np.empty(count)
    for j in range(count):
        sum_real, sum_imag = np.zeros(harmonics), np.zeros(harmonics)
        for b in range(blocks):
            for k in range(harmonics):
                x, y = real[b, k], imag[b, k]
                sum_real[k] += x
                sum_imag[k] += y
                real[b, k] = x * turn_real[b, k] - y * turn_imag[b, k]
                imag[b, k] = x * turn_imag[b, k] + y * turn_real[b, k]
        total = 0.0
        for k in range(harmonics):
            total += (sum_real[k] * sum_real[k] + sum_imag[k] * sum_imag[k]) * weights[k]
        out[j] = total
    return out


@kernel(nogil=True)
def edge_response(running: F64, reach: int) -> F32:
    """Mean of the next ``reach`` samples minus mean of the last ``reach``, from a running sum of n + 1 terms."""
    n = running.size - 1
    if n <= 2 * reach:
        return np.zeros(n, np.float32)
    out = np.empty(n, np.float32)
    for i in range(reach):
        out[i] = out[n - 1 - i] = 0.0
    scale = 1.0 / reach
    before, here, after = running[: n - 2 * reach], running[reach : n - reach], running[2 * reach : n]
    inside = out[reach : n - reach]
    for i in range(inside.size):
        inside[i] = (after[i] - 2.0 * here[i] + before[i]) * scale
    return out


@kernel(nogil=True, fastmath={"reassoc"})
def scatter(samples: F32) -> float:
    """Standard deviation."""
    mean, power = 0.0, 0.0
    for i in range(samples.size):
        mean += samples[i]
    mean /= samples.size
    for i in range(samples.size):
        power += (samples[i] - mean) ** 2
    return float(np.sqrt(power / samples.size))


@kernel(nogil=True, fastmath={"reassoc"})
def moments(samples: F32) -> tuple[float, float]:
    """Mean third and fourth power of samples over their standard deviation, none counted for more than 20 of these."""
    scale = 1 / (scatter(samples) + 1e-12)
    third, fourth = 0.0, 0.0
    for i in range(samples.size):
        scaled = min(max(samples[i] * scale, -20.0), 20.0)
        third += scaled * scaled * scaled
        fourth += scaled * scaled * scaled * scaled
    return third / samples.size, fourth / samples.size


@kernel(nogil=True)
def thin_samples(samples: F32, many: int) -> F32:
    """Means of ``many`` neighbouring samples."""
    out = np.zeros(samples.size // many, np.float32)
    scale = np.float32(1.0 / many)
    if many == 2:
        for i in range(out.size):
            out[i] = (samples[2 * i] + samples[2 * i + 1]) * scale
        return out
    for i in range(out.size):
        total = np.float32(0.0)
        for j in range(i * many, (i + 1) * many):
            total += samples[j]
        out[i] = total * scale
    return out


@kernel(nogil=True)
def above_around(samples: F32, reach: int) -> F32:
    """Samples less the mean of those from ``reach`` before to ``reach`` after; the first and last as they are."""
    out = samples.copy()
    running = running_sum(samples)
    span = 2 * reach
    if samples.size > span:
        before, after, inside = running[: samples.size - span], running[span:], out[reach:]
        for i in range(before.size):
            inside[i] -= np.float32((after[i] - before[i]) / span)
    return out


@kernel(nogil=True)
def peaks_above(values: F32, threshold: np.float32) -> I64:
    """Places of values above a threshold that are no lower than the one before and higher than the one after."""
    found = np.empty(values.size // 2 + 1, np.int64)
    count = 0
    for i in range(1, values.size - 1):
        if values[i] > threshold and values[i] >= values[i - 1] and values[i] > values[i + 1]:
            found[count] = i
            count += 1
    return found[:count].copy()


@kernel(nogil=True)
def kth_smallest(values: F32, k: int) -> float:
    """The value that would stand at place ``k`` if values, none of them negative, were sorted; 0 <= k < n.

    Such floats are in order of their bits. These are counted by the upper 12, then, among those alike so far, by the next 11,
    then by the last 9.
    """
    bits = values.view(np.uint32)
    known = np.zeros(1, np.uint32)
    alike = np.uint32(0)
    left = k
    for shift, size in ((20, 4096), (9, 2048), (0, 512)):
        counts = np.zeros(size, np.int64)
        if shift == 20:
            for i in range(bits.size):
                counts[bits[i] >> np.uint32(20)] += 1
        else:
            for i in range(bits.size):
                if bits[i] >> alike == known[0]:
                    counts[(bits[i] >> np.uint32(shift)) & np.uint32(size - 1)] += 1
        digit = 0
        while left >= counts[digit]:
            left -= counts[digit]
            digit += 1
        known[0] = known[0] * np.uint32(size) + np.uint32(digit)
        alike = np.uint32(shift)
    return float(known.view(np.float32)[0])


@inner(nogil=True)
def _next_beyond(values: F32, threshold: float, i: int) -> int:
    """First place from ``i`` on where a value is not between minus and plus the threshold; the size if there is none."""
    near = np.float32(threshold * (1 - 1e-6))  # 64 at a time are passed by in single precision, well inside
    while i + 64 <= values.size:
        part = values[i : i + 64]
        out = np.int32(0)
        for j in range(64):
            out |= np.int32((part[j] >= near) | (part[j] <= -near))
        if out:
            break
        i += 64
    while i < values.size and -threshold < values[i] < threshold:
        i += 1
    return i


@kernel(nogil=True)
def pair_edges(edges: F32, threshold: float, reach: int, longest: int) -> tuple[I64, I64, F64]:
    """Bursts as a rise and the next fall of at least half its height: starts, ends, heights."""
    room = 200000
    starts = np.empty(room, np.int64)
    ends = np.empty(room, np.int64)
    heights = np.empty(room)
    found = 0
    open_at = -1
    open_height = 0.0
    i = 1
    n = edges.size
    while found < room:
        i = _next_beyond(edges, threshold, i)
        if i >= n - 1:
            break
        sign = 1.0 if edges[i] > 0 else -1.0
        best = i
        stop = i
        while stop < n - 1 and sign * edges[stop] >= threshold and stop - best <= 2 * reach:
            if sign * edges[stop] > sign * edges[best]:
                best = stop
            stop += 1
        flat = best
        while flat < n - 1 and flat - best < reach and abs(edges[flat + 1] - edges[best]) < 0.02 * abs(edges[best]):
            flat += 1
        best = (best + flat) // 2
        size = sign * edges[best]
        if sign > 0:
            if open_at < 0 or size > 0.6 * open_height or best - open_at > longest:
                open_at = best
                open_height = size
        elif open_at >= 0 and size > 0.5 * open_height and best > open_at:
            if best - open_at <= longest:
                starts[found] = open_at
                ends[found] = best
                heights[found] = 0.5 * (size + open_height)
                found += 1
            open_at = -1
            open_height = 0.0
        i = max(stop, i + 1)
    return starts[:found], ends[:found], heights[:found]


@inner(nogil=True)
def _nearest(times: F64, target: float, slack: float, after: int) -> int:
    """Index of the time nearest to the target within the slack, searched from ``after`` on; -1 if none."""
    low, high = after, times.size
    while low < high:
        middle = (low + high) // 2
        if times[middle] < target - slack:
            low = middle + 1
        else:
            high = middle
    best = -1
    near = slack
    while low < times.size and times[low] <= target + slack:
        if abs(times[low] - target) <= near:
            near = abs(times[low] - target)
            best = low
        low += 1
    return best


@inner(nogil=True)
def _follow(times: F64, i: int, j: int, slack: float) -> tuple[int, int, float]:
    """Length, last index and refined step of the train that begins with pulses i and j; one miss at a time allowed."""
    count, order, last = 2, 1, j
    step = times[j] - times[i]
    missed = 0
    while missed < 2:
        target = times[i] + step * (order + 1 + missed)
        k = _nearest(times, target, slack, last + 1)
        if k < 0:
            missed += 1
            continue
        order += 1 + missed
        step = (times[k] - times[i]) / order
        count += 1
        last = k
        missed = 0
    return count, last, step


@kernel(nogil=True)
def follow_trains(times: F64, shortest: float, longest: float, slack: float, least: int) -> tuple[I64, F64, I64]:
    """Trains of evenly spaced times: first index, step and length of each; a time begins at most one train."""
    n = times.size
    begins, steps, lengths = np.zeros(n, np.int64), np.zeros(n), np.zeros(n, np.int64)
    used = np.zeros(n, np.bool_)
    found = 0
    for i in range(n):
        if used[i]:
            continue
        best_count, best_last, best_step = 0, i, 0.0
        j = i + 1
        while j < n and times[j] - times[i] <= longest:
            if times[j] - times[i] >= shortest:
                count, last, step = _follow(times, i, j, slack)
                if count > best_count:
                    best_count, best_last, best_step = count, last, step
            j += 1
        if best_count >= least:
            begins[found], steps[found], lengths[found] = i, best_step, best_count
            found += 1
            used[i : best_last + 1] = True
    return begins[:found], steps[:found], lengths[:found]


@kernel(nogil=True)
def step_matches(starts: F64, widths: F64, heights: F64, longest: float, off: float, slack: float) -> int:
    """Pairs of like bursts that a third like one follows at the same step plus ``off``."""
    total = 0
    n = starts.size
    for i in range(n):
        j = i + 1
        while j < n and starts[j] - starts[i] < longest:
            step = starts[j] - starts[i]
            ratio = heights[j] / heights[i]
            if step > widths[i] + 1.2e-4 and abs(widths[j] - widths[i]) < 4e-5 and 0.5 < ratio < 2.0:
                k = _nearest(starts, starts[j] + step + off, slack, j + 1)
                if k >= 0 and abs(widths[k] - widths[i]) < 4e-5 and 0.4 < heights[k] / heights[i] < 2.5:
                    total += 1
                    break
            j += 1
    return total


@kernel(nogil=True)
def gap_matches(starts: F64, widths: F64, gap: float, width: float, slack: float) -> int:
    """Bursts of 0.45 to 4.5 ms that one of the given width follows after the given gap."""
    total = 0
    for i in range(starts.size):
        if 0.45e-3 < widths[i] < 4.5e-3:
            k = _nearest(starts, starts[i] + widths[i] + gap, slack, i + 1)
            if k >= 0 and abs(widths[k] - width) < slack:
                total += 1
    return total


@kernel(nogil=True)
def box_response(running: F64, width: int) -> F32:
    """Mean over ``width`` samples from each place on, less the mean of as many on both sides together."""
    n = running.size - 1
    if n <= 3 * width:
        return np.zeros(n, np.float32)
    out = np.empty(n, np.float32)
    for i in range(width):
        out[i] = out[n - 1 - 2 * i] = out[n - 2 - 2 * i] = 0.0
    scale = 1.0 / width
    inside = out[width : n - 2 * width]
    before, begin = running[: n - 3 * width], running[width : n - 2 * width]
    end, after = running[2 * width : n - width], running[3 * width : n]
    for i in range(inside.size):
        inside[i] = (1.5 * (end[i] - begin[i]) - 0.5 * (after[i] - before[i])) * scale
    return out


@kernel(nogil=True)
def box_peaks(response: F32, threshold: float, width: int) -> tuple[I64, int]:
    """Places of the highest values above a threshold, none nearer than a width to a higher one; and runs below minus it."""
    room = response.size // width + 2
    places = np.zeros(room, np.int64)
    found, dips, i, n = 0, 0, 0, response.size
    while i < n:
        i = _next_beyond(response, threshold, i)
        if i == n:
            break
        best, stop = i, i
        up = response[i] > 0
        while (
            stop < n and stop - best <= width and (response[stop] >= threshold if up else response[stop] <= -threshold)
        ):
            if (response[stop] > response[best]) == up:
                best = stop
            stop += 1
        if not up:
            dips += 1
        elif found > 0 and best - places[found - 1] < width:
            if response[best] > response[places[found - 1]]:
                places[found - 1] = best
        elif found < room:
            places[found] = best
            found += 1
        i = max(stop, i + 1)
    return places[:found], dips


@kernel(nogil=True)
def without_overlap(starts: I64, widths: I64, order: I64, size: int) -> I64:
    """Indices of boxes in the given order of preference that overlap none chosen before."""
    taken = np.zeros(size, np.bool_)
    kept = np.zeros(order.size, np.int64)
    count = 0
    for k in order:
        first, last = starts[k], min(starts[k] + widths[k], size)
        if taken[first] or taken[last - 1] or taken[(first + last) // 2]:
            continue
        margin = max(1, widths[k] // 2)
        taken[max(0, first - margin) : min(size, last + margin)] = True
        kept[count] = k
        count += 1
    return kept[:count]


@kernel(nogil=True)
def leaves(numbers: F64, feature: I64, threshold: F64, left: I64, right: I64, roots: I64) -> I64:
    """The leaf of each tree that a vector of numbers falls to: left where a number is not above a threshold."""
    out = np.empty(roots.size, np.int64)
    for tree in range(roots.size):
        node = roots[tree]
        while feature[node] >= 0:
            node = left[node] if numbers[feature[node]] <= threshold[node] else right[node]
        out[tree] = node
    return out


@kernel(nogil=True)
def refine_boxes(running: F64, starts: I64, widths: I64) -> tuple[I64, I64, F64]:
    """Move start and width of each box by up to a third until it stands out most; and its height over both sides."""
    n = running.size - 1
    new_starts, new_widths, heights = starts.copy(), widths.copy(), np.zeros(starts.size)
    for k in range(starts.size):
        best = -1.0
        reach = max(1, widths[k] // 3)
        step = max(1, widths[k] // 12)
        for width in range(max(2, widths[k] - reach), widths[k] + reach + 1, step):
            for first in range(starts[k] - reach, starts[k] + reach + 1, step):
                if first < width or first + 2 * width > n:
                    continue
                inside = running[first + width] - running[first]
                around = running[first + 2 * width] - running[first - width]
                height = (1.5 * inside - 0.5 * around) / width
                if height * np.sqrt(width) > best:
                    best = height * np.sqrt(width)
                    new_starts[k], new_widths[k], heights[k] = first, width, height
    return new_starts, new_widths, heights
