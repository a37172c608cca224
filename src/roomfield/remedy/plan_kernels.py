"""Compiled evaluation and search of plans; `roomfield.remedy.evaluator` says what the arrays mean.

A plan is a set of actions. The state of a plan holds the power of every group of paths, the way, plate and opening
amplitude of every edge, and the factor of every (emitter, column). Each action multiplies it. States stand in
stacks, one array for each of the five with the state's number as its first axis, and are named by that number: what
is handed on are whole arrays, and elements are copied one by one, for both are compiled in a fraction of the time
that slices take.
"""

from __future__ import annotations

import math

import numpy as np

from roomfield.kernel_cache import inner, kernel

STEPS_PER_DB = 2.0
STEP_DB = 0.02
"""A level that is lower by less is not looked for [dB]."""
_WHOLE, _ZERO, _ONE = np.float32(1.0), np.int64(0), np.int64(1)
"""Plain numbers would make the compiler build a function again for each of them."""


@kernel()
def take_action(model, a, stacks, before, after) -> None:
    """Multiply the state numbered ``before`` by one action, into that numbered ``after``."""
    _, _, factor, way, solid, hole, scale, _, _, _ = model
    power, ways, solids, holes, scales = stacks
    for g in range(power.shape[1]):
        power[after, g] = power[before, g] * factor[a, g]
    for e in range(ways.shape[1]):
        ways[after, e] = ways[before, e] * way[a, e]
        solids[after, e] = solids[before, e] * solid[a, e]
        holes[after, e] = holes[before, e] * hole[a, e]
    for k in range(scales.shape[1]):
        for c in range(scales.shape[2]):
            scales[after, k, c] = scales[before, k, c] * scale[a, k, c]


@kernel(fastmath=True)
def ratios(model, stacks, at, cells) -> None:
    """What the walls of the state let through of what came before, for each (place, emitter)."""
    starts, edge_starts = model[0], model[1]
    power, way, solid, hole, _ = stacks
    for c in range(cells.shape[0]):
        total = 0.0
        for g in range(starts[c], starts[c + 1]):
            total += power[at, g]
        for e in range(edge_starts[c], edge_starts[c + 1]):
            total += way[at, e] * (solid[at, e] - hole[at, e]) ** 2
        cells[c] = total


@inner(fastmath=True)
def least_ratios(model, t, stacks, at, cells) -> None:
    """The same under a state that no choice of the actions from ``t`` on can get under.

    Every action is taken where it weakens and nowhere where it strengthens; what edges with an open action throw
    counts as nothing.
    """
    starts, edge_starts, factor, edge = model[0], model[1], model[7], model[8]
    power, way, solid, hole, _ = stacks
    for c in range(cells.shape[0]):
        total = 0.0
        for g in range(starts[c], starts[c + 1]):
            total += power[at, g] * factor[t, g]
        for e in range(edge_starts[c], edge_starts[c + 1]):
            total += way[at, e] * edge[t, e] * (solid[at, e] - hole[at, e]) ** 2
        cells[c] = total


@inner()
def least_scales(model, t, stacks, at, into) -> None:
    """The factors of the (emitter, column) under such a state, into the state numbered ``into``."""
    scales, least = stacks[4], model[9]
    for k in range(scales.shape[1]):
        for c in range(scales.shape[2]):
            scales[into, k, c] = scales[at, k, c] * least[t, k, c]


@inner(fastmath=True)
def add_up(levels, cells, scales, at, doubt, c, n, total) -> None:
    """Level at column ``c``, which belongs to place ``n``, in every draw; ``scales[at]`` weighs the emitters.

    It comes to stand in ``total[0]``: means add, and so do the squares of what the largest spots lie over them, which
    are gathered in ``total[1]``.
    """
    emitters, draws = levels.shape[1], levels.shape[2]
    common, local = doubt.common, doubt.local
    top = common.shape[0] - 1
    for d in range(draws):
        total[0, d], total[1, d] = 0.0, 0.0
    for k in range(emitters):
        through = cells[n * emitters + k]
        weight = np.float32(through * scales[at, k, c])
        if weight < 1e-12:
            continue
        step = min(STEPS_PER_DB * abs(10.0 * math.log10(through)), top - 1e-3)
        i = int(step)
        u = np.float32(step - i)
        over = doubt.excess[i, k] + u * (doubt.excess[i + 1, k] - doubt.excess[i, k])
        first = doubt.first[n, k]
        for d in range(draws):
            alike = common[i, d] + u * (common[i + 1, d] - common[i, d])
            own = local[i, first + d] + u * (local[i + 1, first + d] - local[i, first + d])
            mean = levels[n, k, d] * weight * alike * own
            total[0, d] += mean
            total[1, d] += (mean * over) ** 2
    for d in range(draws):
        total[0, d] += math.sqrt(total[1, d])


@kernel(fastmath=True)
def mark_over(levels, cells, scales, doubt, place, bound, total, over) -> None:
    """Mark each draw in which some column is over a bound; draws that are marked already stay so."""
    for c in range(place.shape[0]):
        add_up(levels, cells, scales, _ZERO, doubt, c, place[c], total)
        for d in range(levels.shape[2]):
            over[d] |= total[0, d] > bound


@inner(fastmath=True)
def count_met(levels, cells, scales, at, doubt, place, limit, lower, need, total, met, first):
    """Number of draws in which every column is ``lower`` times its limit at most; stops once ``need`` is out of reach.

    ``first`` holds the columns in the order in which they are looked at; one that ends the count comes to its head.
    """
    draws = levels.shape[2]
    for d in range(draws):
        met[d] = 1
    count = draws
    for j in range(place.shape[0]):
        c = first[j]
        add_up(levels, cells, scales, at, doubt, c, place[c], total)
        count, bound = 0, limit[c] * lower
        for d in range(draws):
            if total[0, d] > bound:
                met[d] = 0
            count += met[d]
        if count <= need:
            for i in range(j, 0, -1):
                first[i] = first[i - 1]
            first[0] = c
            return count
    return count


@inner()
def worth(levels, cells, scales, at, doubt, place, limit, rank, need, total, met, first):
    """What a plan is worth; stops early once it cannot be worth more than ``need``.

    With ``rank`` 0: the number of draws in which every column is within its limit. Otherwise: by how many decibels
    the level that ``rank`` draws hold at every column at once lies under the limit.
    """
    if rank == 0:
        return float(count_met(levels, cells, scales, at, doubt, place, limit, _WHOLE, need, total, met, first))
    lower, few = np.float32(10.0 ** (-0.1 * (need + STEP_DB))), float(rank - 1)
    if count_met(levels, cells, scales, at, doubt, place, limit, lower, few, total, met, first) < rank:
        return need
    return 10.0 * math.log10(limit[0] / max(held(levels, cells, scales, at, doubt, place, rank, total), 1e-30))


@inner(fastmath=True)
def held(levels, cells, scales, at, doubt, place, rank, total):
    """Lowest level that ``rank`` draws hold at every column at once."""
    draws = levels.shape[2]
    worst = np.zeros(draws, np.float32)
    for c in range(place.shape[0]):
        add_up(levels, cells, scales, at, doubt, c, place[c], total)
        for d in range(draws):
            worst[d] = max(worst[d], total[0, d])
    return ranked(worst, rank - _ONE)


@inner()
def ranked(values, rank):
    """The value that stands at a rank (0 for the lowest) once they are in order (Hoare 1961); the order changes."""
    low, high = 0, values.shape[0] - 1
    while low < high:
        middle, i, j = values[(low + high) // 2], low, high
        while i <= j:
            while values[i] < middle:
                i += 1
            while middle < values[j]:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i, j = i + 1, j - 1
        if rank <= j:
            high = j
        elif rank >= i:
            low = i
        else:
            break
    return values[rank]


@inner()
def best_at(front, size, cost):
    """Highest worth on the front that costs no more."""
    best = -1.0
    for i in range(size):
        if front[i, 0] <= cost + 1e-9 and front[i, 1] > best:
            best = front[i, 1]
    return best


@inner()
def put(front, size, cost, value, mask):
    """Put a plan on the front and take off what it dominates; returns the new size."""
    kept = 0
    for i in range(size):
        if front[i, 0] >= cost - 1e-9 and front[i, 1] <= value:
            continue
        for j in range(4):
            front[kept, j] = front[i, j]
        kept += 1
    front[kept, 0], front[kept, 1], front[kept, 2], front[kept, 3] = cost, value, mask, 0.0
    return kept + 1


@inner()
def clashes(conflict, mask, a):
    """True if an action cannot go with those taken."""
    for b in range(conflict.shape[0]):
        if (mask >> b) & 1 and conflict[a, b]:
            return True
    return False


@inner()
def cost_reaching(front, size, value):
    """Lowest cost on the front at which this worth is reached; infinite if it is reached nowhere."""
    least = np.inf
    for i in range(size):
        if front[i, 1] >= value and front[i, 0] < least:
            least = front[i, 0]
    return least


@inner()
def unexplored(front, size):
    """A plan on the front whose neighbours have not been looked at; -1 if there is none. It is marked as explored."""
    for i in range(size):
        if front[i, 3] == 0.0 and front[i, 2] >= 0.0:
            front[i, 3] = 1.0
            return i
    return -1


@kernel()
def improve(levels, model, doubt, place, limit, rank, costs, conflict, front, size, stacks, most):
    """Look at the neighbours of plans on the front, one action more, less or exchanged, until none is better.

    Only gives the search a good front to begin with. At most ``most`` plans are explored; returns the new size. The
    last of the stacks holds the state of the empty plan.
    """
    actions = costs.shape[0]
    cells = np.zeros(levels.shape[0] * levels.shape[1])
    total, met = np.zeros((2, levels.shape[2]), np.float32), np.zeros(levels.shape[2], np.int64)
    first = np.arange(place.shape[0])
    base, tried, empty = _ZERO, _ONE, stacks[0].shape[0] - _ONE
    for _ in range(most):
        i = unexplored(front, size)
        if i < 0:
            return size
        mask, whole = np.int64(front[i, 2]), front[i, 0]
        for out in range(-1, actions):
            if out >= 0 and not (mask >> out) & 1:
                continue
            left = mask if out < 0 else mask & ~(1 << out)
            cost = whole if out < 0 else whole - costs[out]
            copy_state(stacks, empty, base)
            for a in range(actions):
                if (left >> a) & 1:
                    take_action(model, a, stacks, base, base)
            for a in range(-1, actions):
                if a >= 0 and ((mask >> a) & 1 or clashes(conflict, left, a)):
                    continue
                price, plan = (cost, left) if a < 0 else (cost + costs[a], left | (1 << a))
                need = best_at(front, size, price)
                if rank == 0 and need >= levels.shape[2]:
                    continue
                state = base
                if a >= 0:
                    state = tried
                    take_action(model, a, stacks, base, tried)
                ratios(model, stacks, state, cells)
                value = worth(levels, cells, stacks[4], state, doubt, place, limit, rank, need, total, met, first)
                if value > need:
                    size = put(front, size, price, value, plan)
    return size


@inner()
def open_from(costs, t, room):
    """First action from ``t`` on that costs less than there is room for; costs fall from action to action."""
    while t < costs.shape[0] and costs[t] >= room - 1e-9:
        t += 1
    return t


@kernel()
def search(levels, model, doubt, place, limit, rank, costs, conflict, prefix, front, size, stacks):
    """Depth-first search below a prefix of decisions, with bounds of `worth`; returns the front's size, and the nodes.

    ``prefix`` holds 1 or 0 for each of the first actions; ``stacks`` one state per depth, one for bounds, and the
    state of the empty plan. A set of plans whose bound is ``h`` can only be of use below the cost at which the front
    reaches ``h``; actions that would go over it are left out of the set, which lowers its bound, and so on until
    nothing changes.
    """
    actions = costs.shape[0]
    phase, mask = np.zeros(actions + 2, np.int64), np.zeros(actions + 2, np.int64)
    cost, at, turn = np.zeros(actions + 2), np.zeros(actions + 2, np.int64), np.zeros(actions + 2, np.int64)
    ceiling = np.full(actions + 2, np.inf)
    cells = np.zeros(levels.shape[0] * levels.shape[1])
    total, met = np.zeros((2, levels.shape[2]), np.float32), np.zeros(levels.shape[2], np.int64)
    bound, first = actions + 1, np.arange(place.shape[0])
    copy_state(stacks, bound + _ONE, _ZERO)
    nodes = 0
    for a in range(prefix.shape[0]):
        if prefix[a] == 1:
            if clashes(conflict, mask[0], a):
                return size, nodes
            take_action(model, a, stacks, _ZERO, _ZERO)
            mask[0], cost[0] = mask[0] | (1 << a), cost[0] + costs[a]
    need = best_at(front, size, cost[0])
    ratios(model, stacks, _ZERO, cells)
    here = worth(levels, cells, stacks[4], _ZERO, doubt, place, limit, rank, need, total, met, first)
    if here > need:
        size = put(front, size, cost[0], here, mask[0])
    d, fresh = 0, True
    turn[0] = prefix.shape[0]
    while d >= 0:
        if fresh:
            nodes += 1
            fresh = False
            t = open_from(costs, turn[d], ceiling[d] - cost[d])
            hope = -1.0
            while t < actions:
                need = best_at(front, size, cost[d] + costs[actions - 1])
                least_ratios(model, t, stacks, at[d], cells)
                least_scales(model, t, stacks, at[d], bound)
                hope = worth(levels, cells, stacks[4], bound, doubt, place, limit, rank, need, total, met, first)
                if hope <= need:
                    t = actions
                    break
                ceiling[d] = min(ceiling[d], cost_reaching(front, size, hope))
                later = open_from(costs, t, ceiling[d] - cost[d])
                if later == t:
                    break
                t = later
            if t == actions:
                d -= 1
                continue
            turn[d], phase[d] = t, 0
        t = turn[d]
        if phase[d] == 0:
            phase[d] = 1
            taken = cost[d] + costs[t]
            if not clashes(conflict, mask[d], t) and taken < ceiling[d]:
                at[d + 1], mask[d + 1], cost[d + 1] = d + 1, mask[d] | (1 << t), taken
                take_action(model, t, stacks, at[d], d + 1)
                need = best_at(front, size, taken)
                ratios(model, stacks, d + 1, cells)
                here = worth(levels, cells, stacks[4], d + 1, doubt, place, limit, rank, need, total, met, first)
                if here > need:
                    size = put(front, size, taken, here, mask[d + 1])
                turn[d + 1], ceiling[d + 1] = t + 1, ceiling[d]
                d, fresh = d + 1, True
        elif phase[d] == 1:
            phase[d] = 2
            at[d + 1], mask[d + 1], cost[d + 1] = at[d], mask[d], cost[d]
            turn[d + 1], ceiling[d + 1] = t + 1, ceiling[d]
            d, fresh = d + 1, True
        else:
            d -= 1
    return size, nodes


@inner()
def copy_state(stacks, source, target) -> None:
    """Copy one state to another's place."""
    power, ways, solids, holes, scales = stacks
    for g in range(power.shape[1]):
        power[target, g] = power[source, g]
    for e in range(ways.shape[1]):
        ways[target, e] = ways[source, e]
        solids[target, e] = solids[source, e]
        holes[target, e] = holes[source, e]
    for k in range(scales.shape[1]):
        for c in range(scales.shape[2]):
            scales[target, k, c] = scales[source, k, c]
