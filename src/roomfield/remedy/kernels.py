"""Compiled evaluation and search of plans; `roomfield.remedy.evaluator` says what the arrays mean.

A plan is a set of actions. The state of a plan holds the power of every group of paths, the way, plate and opening
amplitude of every edge, and the factor of every (emitter, column). Each action multiplies it.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit

STEPS_PER_DB = 2.0


@njit(cache=True)
def take_action(model, a, before, after) -> None:
    """Multiply a state by one action."""
    factor, way, solid, hole, scale = model[2:7]
    for g in range(before[0].shape[0]):
        after[0][g] = before[0][g] * factor[a, g]
    for e in range(before[1].shape[0]):
        after[1][e] = before[1][e] * way[a, e]
        after[2][e] = before[2][e] * solid[a, e]
        after[3][e] = before[3][e] * hole[a, e]
    for k in range(before[4].shape[0]):
        for c in range(before[4].shape[1]):
            after[4][k, c] = before[4][k, c] * scale[a, k, c]


@njit(cache=True)
def ratios(model, state, cells) -> None:
    """What the walls of the state let through of what came before, for each (place, emitter)."""
    group_cell, edge_cell = model[0], model[1]
    cells[:] = 0.0
    for g in range(group_cell.shape[0]):
        cells[group_cell[g]] += state[0][g]
    for e in range(edge_cell.shape[0]):
        contrast = state[2][e] - state[3][e]
        cells[edge_cell[e]] += state[1][e] * contrast * contrast


@njit(cache=True)
def most_weakened(model, t, state, bound) -> None:
    """A state that no choice of the actions from ``t`` on can get under: every action taken where it weakens."""
    least_factor, least_way, edge_fixed, least_scale = model[7:11]
    for g in range(state[0].shape[0]):
        bound[0][g] = state[0][g] * least_factor[t, g]
    for e in range(state[1].shape[0]):
        bound[1][e] = state[1][e] * least_way[t, e] * edge_fixed[t, e]
        bound[2][e], bound[3][e] = state[2][e], state[3][e]
    for k in range(state[4].shape[0]):
        for c in range(state[4].shape[1]):
            bound[4][k, c] = state[4][k, c] * least_scale[t, k, c]


@njit(cache=True, fastmath=True)
def count_met(levels, model, state, doubt, place, limit, need, cells, total, met):
    """Number of draws in which every column is within its limit; stops early once it cannot exceed ``need``."""
    ratios(model, state, cells)
    emitters, draws = levels.shape[1], levels.shape[2]
    top = doubt.shape[0] - 1
    for d in range(draws):
        met[d] = 1
    count = draws
    for c in range(place.shape[0]):
        n = place[c]
        for d in range(draws):
            total[d] = 0.0
        for k in range(emitters):
            through = cells[n * emitters + k]
            weight = np.float32(through * state[4][k, c])
            if weight < 1e-12:
                continue
            step = min(STEPS_PER_DB * abs(10.0 * math.log10(through)), top - 1e-3)
            i = int(step)
            u = np.float32(step - i)
            for d in range(draws):
                total[d] += levels[n, k, d] * weight * (doubt[i, d] + u * (doubt[i + 1, d] - doubt[i, d]))
        count = 0
        for d in range(draws):
            if total[d] > limit[c]:
                met[d] = 0
            count += met[d]
        if count <= need:
            return count
    return count


@njit(cache=True)
def best_at(front, size, cost):
    """Highest count on the front that costs no more."""
    best = -1.0
    for i in range(size):
        if front[i, 0] <= cost + 1e-9 and front[i, 1] > best:
            best = front[i, 1]
    return best


@njit(cache=True)
def put(front, size, cost, count, mask):
    """Put a plan on the front and take off what it dominates; returns the new size."""
    kept = 0
    for i in range(size):
        if front[i, 0] >= cost - 1e-9 and front[i, 1] <= count:
            continue
        for j in range(3):
            front[kept, j] = front[i, j]
        kept += 1
    front[kept, 0], front[kept, 1], front[kept, 2] = cost, count, mask
    return kept + 1


@njit(cache=True)
def clashes(conflict, mask, a):
    """True if an action cannot go with those taken."""
    for b in range(conflict.shape[0]):
        if (mask >> b) & 1 and conflict[a, b]:
            return True
    return False


@njit(cache=True)
def search(levels, model, doubt, place, limit, start, costs, least_cost, conflict, prefix, front, size, stacks):
    """Depth-first search with bounds below a prefix of decisions; returns the new size of the front.

    ``prefix`` holds 1 or 0 for each of the first actions; ``stacks`` one state per depth, then one for bounds.
    """
    actions = costs.shape[0]
    phase, mask = np.zeros(actions + 1, np.int64), np.zeros(actions + 1, np.int64)
    cost, hope = np.zeros(actions + 1), np.zeros(actions + 1)
    at = np.zeros(actions + 1, np.int64)
    cells = np.zeros(levels.shape[0] * levels.shape[1])
    total, met = np.zeros(levels.shape[2], np.float32), np.zeros(levels.shape[2], np.int64)
    copy_state(start, layer(stacks, 0))
    nodes = 0
    base = prefix.shape[0]
    for a in range(base):
        mask[a + 1], cost[a + 1], at[a + 1] = mask[a], cost[a], at[a]
        if prefix[a] == 1:
            if clashes(conflict, mask[a], a):
                return size, nodes
            at[a + 1] = a + 1
            take_action(model, a, layer(stacks, at[a]), layer(stacks, a + 1))
            mask[a + 1], cost[a + 1] = mask[a] | (1 << a), cost[a] + costs[a]
    need = best_at(front, size, cost[base])
    here = count_met(levels, model, layer(stacks, at[base]), doubt, place, limit, need, cells, total, met)
    if here > need:
        size = put(front, size, cost[base], here, mask[base])
    t, fresh = base, True
    while t >= base:
        if fresh:
            nodes += 1
            need = best_at(front, size, cost[t] + least_cost[t])
            bound = layer(stacks, actions + 1)
            if t < actions:
                most_weakened(model, t, layer(stacks, at[t]), bound)
                hope[t] = count_met(levels, model, bound, doubt, place, limit, need, cells, total, met)
            if t == actions or hope[t] <= need:
                t, fresh = t - 1, False
                continue
            phase[t] = 0
        fresh = False
        if phase[t] == 0:
            phase[t] = 1
            taken = cost[t] + costs[t]
            if not clashes(conflict, mask[t], t) and hope[t] > best_at(front, size, taken):
                at[t + 1], mask[t + 1], cost[t + 1] = t + 1, mask[t] | (1 << t), taken
                take_action(model, t, layer(stacks, at[t]), layer(stacks, t + 1))
                need = best_at(front, size, taken)
                here = count_met(levels, model, layer(stacks, t + 1), doubt, place, limit, need, cells, total, met)
                if here > need:
                    size = put(front, size, taken, here, mask[t + 1])
                t, fresh = t + 1, True
        elif phase[t] == 1:
            phase[t] = 2
            at[t + 1], mask[t + 1], cost[t + 1] = at[t], mask[t], cost[t]
            t, fresh = t + 1, True
        else:
            t -= 1
    return size, nodes


@njit(cache=True)
def layer(stacks, i):
    """State at one depth."""
    return stacks[0][i], stacks[1][i], stacks[2][i], stacks[3][i], stacks[4][i]


@njit(cache=True)
def copy_state(source, target) -> None:
    """Copy a state."""
    target[0][:] = source[0]
    target[1][:] = source[1]
    target[2][:] = source[2]
    target[3][:] = source[3]
    target[4][:, :] = source[4]
