"""From a model to draws: the mode and its curvature, then Hamiltonian moves of many chains at once.

The unknowns are standard normal before the readings are seen. The mode is found by damped Gauss-Newton steps. A weak
emitter beside a strong one is only bounded from above, which no normal approximation can say; hence the moves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, cholesky, solve_triangular

from roomfield.field.forward import Forward

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
MOST_STEPS = 40
SETTLING = 3
SETTLED = 0.02
"""A step that promises or gains less log probability is the last; draws lie half a unit per unknown under the mode."""
SCALE_NODES = (1.5, 0.75, 0.0, -0.75, -1.5, -2.25, -3.0)
LEAPS = 8
WARM_UP = 16
FIRST_STEP = 0.15
TARGET_ACCEPTANCE = 0.75
LOST = 1e4


@dataclass(frozen=True)
class Mode:
    """Most probable unknowns and the curvature there.

    Parameters
    ----------
    x : ndarray, shape (total,)
        Unknowns.
    factor : ndarray, shape (total, total)
        Lower Cholesky factor of the precision.
    log_evidence : float
        Laplace approximation of the log evidence.
    converged : bool
        True if the steps became small.
    """

    x: Array
    factor: Array
    log_evidence: float
    converged: bool


def find_mode(forward: Forward, start: Array | None = None, *, scale: float | None = None) -> Mode:
    """Damped Gauss-Newton search for the mode.

    Parameters
    ----------
    forward : Forward
        The model with its readings.
    start : ndarray, shape (total,), optional
        Where to begin; left out: the prior mean.
    scale : float, optional
        Hold the standardised size of the misfit at this value and seek the mode of all else.
    """
    x = np.zeros(forward.blocks.total) if start is None else start.copy()
    held = forward.blocks["scale"] if scale is not None else slice(0, 0)
    x[held] = 0.0 if scale is None else scale
    value, damping, converged = _log_posterior(forward, x), 1e-2, False
    for _ in range(MOST_STEPS):
        gradient, precision = forward.quadratic(x, held)
        while True:
            step = cho_solve((cholesky(precision + damping * np.diag(np.diag(precision)), lower=True), True), gradient)
            if 0.5 * gradient @ step < SETTLED:
                tried, step = value, np.zeros_like(step)
                break
            tried = _log_posterior(forward, x + step)
            if tried >= value or damping > 1e8:
                break
            damping *= 8.0
        gained, x, value, damping = tried - value, x + step, tried, max(damping / 6.0, 1e-8)
        if abs(gained) < SETTLED:
            converged = True
            break
    _, precision = forward.quadratic(x, held)
    factor = cholesky(precision, lower=True)
    return Mode(x, factor, float(value - np.sum(np.log(np.diag(factor)))), converged)


def settle(forward: Forward) -> Forward:
    """The model with axes and scatter of the readings for the most probable shares, slips weighted down.

    Parameters
    ----------
    forward : Forward
        The model with its readings.
    """
    x = None
    for _ in range(SETTLING):
        x = find_mode(forward, x, scale=0.0).x
        forward = _settled_at(forward, x)
    return forward


def settle_from(forward: Forward, x: Array) -> Forward:
    """Like `settle`, in one round from unknowns that lie near the mode already.

    Parameters
    ----------
    forward : Forward
        The model with its readings.
    x : ndarray, shape (total,)
        Unknowns.
    """
    return _settled_at(forward, find_mode(forward, x, scale=0.0).x)


def _settled_at(forward: Forward, x: Array) -> Forward:
    forward = forward.with_axes(x).with_caught(x)
    residual, shares = forward.residual_db(x[None])[0], forward.predict(x[None])[1][0]
    noise = replace(forward.noise, shares=shares)
    return replace(forward, noise=replace(noise, weights=noise.tail_weights(residual)))


@dataclass(frozen=True)
class Scales:
    """Modes for several sizes of the misfit.

    Parameters
    ----------
    best : Mode
        The one of most evidence, with the curvature in all unknowns.
    modes : ndarray, shape (s, total)
        Unknowns at each.
    probability : ndarray, shape (s,)
        Of each size, all else integrated out (Laplace), adding up to 1.
    """

    best: Mode
    modes: Array
    probability: Array


def scan_scales(forward: Forward) -> Scales:
    """Modes and evidence over the size of the misfit.

    The joint mode of a size and of what it scales is no guide: it lies where the evidence does not.

    Parameters
    ----------
    forward : Forward
        The model with its readings.
    """
    found: list[Mode] = []
    for scale in SCALE_NODES:
        found.append(find_mode(forward, found[-1].x if found else None, scale=scale))
    evidence = np.array([m.log_evidence for m in found])
    probability = np.exp(evidence - evidence.max())
    best = with_all_free(forward, found[int(np.argmax(evidence))])
    return Scales(best, np.stack([m.x for m in found]), probability / probability.sum())


def best_mode(forward: Forward, start: Array) -> Mode:
    """The mode near some unknowns with their size of the misfit, the curvature in all unknowns."""
    return with_all_free(forward, find_mode(forward, start, scale=float(start[forward.blocks["scale"]][0])))


def with_all_free(forward: Forward, mode: Mode) -> Mode:
    """A mode with the curvature in all unknowns."""
    return replace(mode, factor=cholesky(forward.quadratic(mode.x, slice(0, 0))[1], lower=True))


def _log_posterior(forward: Forward, x: Array) -> float:
    return float(forward.log_likelihood(x[None])[0] - 0.5 * x @ x)


@dataclass(frozen=True)
class Draws:
    """Draws of the unknowns, and how good they are.

    Parameters
    ----------
    x : ndarray, shape (n, total)
        Draws.
    chain : ndarray of int, shape (n,)
        Chain that each belongs to.
    acceptance : float
        Share of proposals accepted after the first half.
    drift : ndarray, shape (total,)
        Shift of the mean over all chains from the first quarter of the draws to the last, in standard deviations.
    """

    x: Array
    chain: Indices
    acceptance: float
    drift: Array


@dataclass(frozen=True)
class ChainLength:
    """Draws kept from each chain, and trajectories from one to the next."""

    draws: int
    thinning: int


SHORT, LONG = ChainLength(4, 2), ChainLength(25, 1)
"""Many short chains are quick where a step costs little; few long ones take a third of the steps."""


class LogPosterior(Protocol):
    """Log posterior and gradient of all chains at once."""

    def __call__(self, x: Array, /) -> tuple[Array, Array]:
        """Values, shape (n,), and gradients, shape (n, total)."""
        ...


def draw(mode: Mode, log_posterior: LogPosterior, start: Array, length: ChainLength, rng: np.random.Generator) -> Draws:
    """Draws from the posterior by Hamiltonian Monte Carlo, many short chains side by side.

    Parameters
    ----------
    mode : Mode
        Its curvature sets the scales of the moves.
    log_posterior : callable
        Exact log posterior; the gradient may be approximate.
    start : ndarray, shape (n_chains, total)
        Where the chains begin.
    length : ChainLength
        Draws kept from each chain.
    rng : Generator
        Source of randomness.

    Notes
    -----
    Neal, MCMC using Hamiltonian dynamics, in: Handbook of Markov Chain Monte Carlo (2011), chapter 5. Positions are
    standardised with the Cholesky factor of the mode's precision. Moves with an approximate gradient keep volume and
    can be reversed, so accepting by the exact posterior remains right.
    """
    state = _State(mode, log_posterior, start)
    step, accepted, kept = FIRST_STEP, [], []
    for index in range(WARM_UP + length.draws * length.thinning):
        rate = state.move(step * rng.uniform(0.8, 1.2), rng)
        if index < WARM_UP:
            step *= float(np.exp(0.5 * (rate - TARGET_ACCEPTANCE)))
        else:
            accepted.append(rate)
            if (index - WARM_UP + 1) % length.thinning == 0:
                kept.append(state.x.copy())
    table = np.stack(kept)
    chain = np.tile(np.arange(len(start)), length.draws)
    return Draws(table.reshape(-1, table.shape[2]), chain, float(np.mean(accepted)), _drift(table))


def hamiltonian_moves(
    mode: Mode, log_posterior: LogPosterior, start: Array, moves: int, step: float, rng: np.random.Generator
) -> Array:
    """States some trajectories on, shape (n, total); each keeps the posterior as it is.

    Parameters
    ----------
    mode : Mode
        Its curvature sets the scales of the moves.
    start : ndarray, shape (n, total)
        Where each begins.
    moves : int
        Number of trajectories.
    step : float
        Step in the scales of the mode.
    """
    state = _State(mode, log_posterior, start)
    for _ in range(moves):
        state.move(step * rng.uniform(0.8, 1.2), rng)
    return state.x


class _State:
    """Chains side by side, in coordinates in which the mode's approximation is standard normal."""

    def __init__(self, mode: Mode, log_posterior: LogPosterior, start: Array) -> None:
        self.mode, self.log_posterior = mode, log_posterior
        self.u = (start - mode.x) @ mode.factor
        self.inverse = solve_triangular(mode.factor, np.eye(len(mode.x)), lower=True, check_finite=False)
        self.value, self.force = self._at(self.u)

    @property
    def x(self) -> Array:
        """Unknowns, shape (n, total)."""
        return np.asarray(self.mode.x + self.u @ self.inverse)

    def _at(self, u: Array) -> tuple[Array, Array]:
        value, gradient = self.log_posterior(self.mode.x + u @ self.inverse)
        return value, gradient @ self.inverse.T

    def move(self, step: float, rng: np.random.Generator) -> float:
        """One trajectory of every chain; the mean probability of acceptance.

        A trajectory that has lost more than `LOST` in log probability stands still: it will be refused anyway.
        """
        momentum = rng.standard_normal(self.u.shape)
        energy = self.value - 0.5 * np.sum(momentum**2, axis=1)
        u, force, value = self.u, self.force, self.value
        for _ in range(LEAPS):
            kept = (value > energy - LOST)[:, None]
            momentum = np.where(kept, momentum + 0.5 * step * force, momentum)
            u = np.where(kept, u + step * momentum, u)
            value, force = self._at(u)
            momentum = np.where(kept, momentum + 0.5 * step * force, momentum)
        gained = value - 0.5 * np.sum(momentum**2, axis=1) - energy
        good = np.log(rng.uniform(size=len(u))) < gained
        self.u = np.where(good[:, None], u, self.u)
        self.force = np.where(good[:, None], force, self.force)
        self.value = np.where(good, value, self.value)
        return float(np.mean(np.minimum(1.0, np.exp(np.minimum(gained, 0.0)))))


def _drift(table: Array) -> Array:
    spread = np.maximum(np.std(table, axis=(0, 1)), 1e-12)
    part = max(1, len(table) // 4)
    return np.asarray(np.abs(table[-part:].mean(axis=(0, 1)) - table[:part].mean(axis=(0, 1))) / spread)
