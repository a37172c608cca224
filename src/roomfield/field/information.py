"""What an outcome that is not known yet is worth to a decision: preposterior analysis over the posterior's draws.

Each draw says what would be read and what each option would then cost. For every draw the reading is simulated, all
other draws are reweighed by its likelihood, the option of least expected cost is taken, and it is charged what it
costs in the draw that made the reading. A draw never weighs on its own reading, so that no option looks better than
it is: the value told is that of a policy somebody could follow, a little under that of the best one.

Raiffa and Schlaifer, *Applied Statistical Decision Theory* (1961), chapters 4 and 5. Which observations go together is
sought by a linear rule (Goldstein and Wooff, *Bayes Linear Statistics*, 2007) and the unit normal loss integral.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from roomfield.errors import InputError

Array = NDArray[np.float64]
Weights = NDArray[np.float32]
LEAST_WEIGHING = 25.0
"""So many draws at least shall weigh on a decision, in the median (our judgement)."""
MOST_COMBINED = 3
"""So many combinations of channels are kept where there are more."""
_NOTHING = 1e-9
MOST_SMOOTHED, ROWS_LOOKED_AT = 4.0, 60
LEAST_LOG = np.float32(-60.0)
"""Logarithm of a weight that counts as nothing; smaller ones only take time."""
SPREADS, SHARE_STEPS = np.array([0.0, 0.1, 1.0, 10.0, 100.0, 1000.0]), 30
"""Variances of true worths over that of the estimates; steps in which their shares are found (EM)."""
REPEATS = 2
"""Readings simulated from each draw."""


@dataclass(frozen=True, eq=False)
class PredictedObservation:
    """What would be observed, as draws.

    Parameters
    ----------
    mean : ndarray, shape (n_draws, channels)
        What would be shown but for its own scatter, in the channel's unit.
    std : ndarray, shape (channels,)
        Standard deviation of that scatter, same unit, over 0.
    period : ndarray, shape (channels,)
        After which values repeat (180 for an axis in degrees); 0 for values that do not.
    """

    mean: Array
    std: Array
    period: Array

    @classmethod
    def of_levels(cls, mean_db: Array, std_db: float | Array) -> PredictedObservation:
        """Levels that do not repeat [dB], shape (n_draws,) or (n_draws, channels)."""
        mean = np.asarray(mean_db, dtype=np.float64).reshape(len(mean_db), -1)
        return cls(mean, np.broadcast_to(np.asarray(std_db, dtype=np.float64), mean.shape[1:]), np.zeros(mean.shape[1]))

    def compressed(self, wanted: Array, by: NDArray[np.bool_]) -> PredictedObservation:
        """The few combinations of the channels that say most, by a linear rule, about some values.

        Parameters
        ----------
        wanted : ndarray, shape (n_draws, m)
            What is to be known, for example the costs of options.
        by : ndarray of bool, shape (n_draws,)
            Draws from which the rule is made; what it is worth is to be seen on others.

        Notes
        -----
        The best linear predictor of what is wanted, ``Cov(wanted, mean) (Cov(mean) + noise)^-1``, and of its rows the
        principal ones by what they explain. Whoever knows the combinations instead of all channels decides no better,
        so that a worth found from them is not too high. Channels with a period stay as they are.
        """
        plain = self.period == 0.0
        if plain.sum() <= MOST_COMBINED:
            return self
        mean, std = self.mean[:, plain] / self.std[plain], np.ones(int(plain.sum()))
        known, asked = mean[by] - mean[by].mean(axis=0), wanted[by] - wanted[by].mean(axis=0)
        total = known.T @ known / len(known) + np.diag(std)
        rule = np.linalg.solve(total, known.T @ asked / len(known)).T
        # Directions in which predictions differ most, each scaled to a noise of one.
        values, turned = np.linalg.eigh(rule @ total @ rule.T)
        best = np.argsort(-values)[:MOST_COMBINED]
        rule = turned[:, best[values[best] > _NOTHING * values.max()]].T @ rule
        rule = np.linalg.solve(np.linalg.cholesky(rule @ rule.T), rule)
        kept = PredictedObservation(mean @ rule.T, np.ones(len(rule)), np.zeros(len(rule)))
        left = PredictedObservation(self.mean[:, ~plain], self.std[~plain], self.period[~plain])
        return PredictedObservation.together([kept, left])

    def of(self, draws: NDArray[np.bool_]) -> PredictedObservation:
        """The same of some draws."""
        return PredictedObservation(self.mean[draws], self.std, self.period)

    @classmethod
    def together(cls, parts: Sequence[PredictedObservation]) -> PredictedObservation:
        """All of them, observed independently of one another."""
        return cls(
            np.concatenate([o.mean for o in parts], axis=1),
            np.concatenate([o.std for o in parts]),
            np.concatenate([o.period for o in parts]),
        )


@dataclass(frozen=True)
class Information:
    """What an outcome is worth.

    Parameters
    ----------
    regret_avoided : float
        Expected cost of the best option now less that after the outcome, at least 0.
    standard_error : float
        Of that, from the finite number of draws.
    chance_changed : float
        Probability that another option than the best one now is then the best.
    """

    regret_avoided: float
    standard_error: float
    chance_changed: float


def regret_left(loss: Array) -> float:
    """Expected value of perfect knowledge: what is lost by not knowing which draw is true.

    Parameters
    ----------
    loss : ndarray, shape (n_draws, options)
        What each option costs in each draw.
    """
    return float(np.mean(loss, axis=0).min() - np.mean(loss.min(axis=1)))


def best_option(loss: Array) -> int:
    """Index of the option of least expected cost."""
    return int(np.argmin(np.mean(loss, axis=0)))


def worth_of(loss: Array, outcome: PredictedObservation, *, seed: int = 0) -> Information:
    """Expected regret that an outcome avoids.

    Parameters
    ----------
    loss : ndarray, shape (n_draws, options)
        What each option costs in each draw.
    outcome : PredictedObservation
        What would be observed in each draw.
    seed : int
        Equal seeds give equal scatter, so that outcomes compare.

    Raises
    ------
    InputError
        If the draws of both are not the same number, or there are fewer than two.
    """
    if len(loss) != len(outcome.mean) or len(loss) < 2:
        raise InputError(
            f"{len(loss)} draws of costs do not go with {len(outcome.mean)} of outcomes.",
            mend="Take both from one posterior with two draws or more.",
        )
    gain, changed = gains_of(loss, outcome, seed=seed)
    error = float(np.std(gain) / np.sqrt(len(gain)))
    return Information(max(float(np.mean(gain)), 0.0), error, float(np.mean(changed)))


def gains_of(loss: Array, outcome: PredictedObservation, *, seed: int = 0) -> tuple[Array, Array]:
    """What each draw's reading avoids, and how often another option is then best, each (n_draws,)."""
    now, rng = best_option(loss), np.random.default_rng([seed, 47])
    if outcome.mean.shape[1] <= MOST_COMBINED:
        return _gains(loss, outcome, now, rng)
    return _cross_gains(loss, outcome, now, rng)


@dataclass(frozen=True, eq=False)
class Shrunk:
    """Worths of many outcomes as they are to be taken once the best of them is picked.

    Parameters
    ----------
    mean, std : ndarray, shape (candidates,)
        Expectation and standard deviation of each.
    """

    mean: Array
    std: Array


def shrunk(gains: Array) -> Shrunk:
    """Worths drawn towards what the candidates have in common, since the best of many looks better than it is.

    Parameters
    ----------
    gains : ndarray, shape (candidates, n_draws)
        What each avoids in each draw.

    Notes
    -----
    Estimates scatter about the true worths as the draws show; these are taken as a mixture of normal laws of several
    spreads about the middle of all (at least 0), with shares by what is most probable of all candidates together, so
    that one good one among many that say nothing stays what it is. What no draw would change stays at nothing. Smith
    and Winkler, The optimizer's curse, Management Science 52 (2006); Stephens, False discovery rates: a new deal,
    Biostatistics 18 (2017).
    """
    mean, std = gains.mean(axis=1), gains.std(axis=1) / np.sqrt(gains.shape[1])
    some = std > 0.0
    if some.sum() < 2:
        return Shrunk(mean, std)
    told, error2 = mean[some], std[some, None] ** 2
    common = max(float(np.median(told)), 0.0)
    away, spread2 = told[:, None] - common, error2.mean() * SPREADS
    total = error2 + spread2
    likelihood = np.exp(-0.5 * away**2 / total) / np.sqrt(total) + _NOTHING
    share = np.full(len(SPREADS), 1.0 / len(SPREADS))
    for _ in range(SHARE_STEPS):
        part = share * likelihood
        part /= part.sum(axis=1, keepdims=True)
        share = (part.sum(axis=0) + 1.0) / (len(told) + len(SPREADS))
    each = common + spread2 / total * away
    mean[some] = np.sum(part * each, axis=1)
    std[some] = np.sqrt(np.sum(part * (each**2 + spread2 * error2 / total), axis=1) - mean[some] ** 2)
    return Shrunk(mean, std)


def told_together(
    loss: Array, outcomes: Sequence[PredictedObservation], minutes: Sequence[float], most: int
) -> list[int]:
    """Outcomes in the order in which they, together with those before, avoid most regret per minute by a linear rule.

    Parameters
    ----------
    loss : ndarray, shape (n_draws, options)
        What each option costs in each draw.
    outcomes : sequence of PredictedObservation
        What could be observed.
    minutes : sequence of float
        What each takes.
    most : int
        So many are put in order.

    Returns
    -------
    list of int
        Indices; outcomes that tell as much as others keep their order.

    Notes
    -----
    For each option but the best, the part of the variance of the difference in cost that the linear rule explains is
    taken as that of a normal law, for which the regret avoided is a unit normal loss integral. Channels with a period
    are left out here. It is a guide to what goes together, not a worth: that is found by `worth_of`.
    """
    now = best_option(loss)
    apart = np.delete(loss - loss[:, now : now + 1], now, axis=1)
    gap, apart = apart.mean(axis=0), apart - apart.mean(axis=0)
    plain = [o.period == 0.0 for o in outcomes]
    owner = np.repeat(np.arange(len(outcomes)), [int(p.sum()) for p in plain])
    if not len(owner) or not apart.shape[1]:
        return list(range(min(most, len(outcomes))))
    means = np.concatenate([o.mean[:, p] / o.std[p] for o, p in zip(outcomes, plain, strict=True)], axis=1)
    joint = np.concatenate([means - means.mean(axis=0), apart], axis=1)
    known, asked = joint.T @ joint / len(joint), slice(len(owner), None)
    whole = np.diag(known)[asked].copy()
    rows = [np.flatnonzero(owner == n) for n in range(len(outcomes))]
    order: list[int] = []
    left, spent = list(range(len(outcomes))), 0.0
    while left and len(order) < most:
        so_far = whole - np.diag(known)[asked]
        worth = [
            _linear_worth(gap, so_far + np.sum(known[rows[n], asked] * _carried(known, rows[n])[:, asked], axis=0))
            / (spent + minutes[n])
            for n in left
        ]
        chosen = left[int(np.argmax(worth))]
        known = known - known[:, rows[chosen]] @ _carried(known, rows[chosen])
        spent += minutes[chosen]
        order.append(chosen)
        left.remove(chosen)
    return order


def _carried(covariance: Array, rows: NDArray[np.int64]) -> Array:
    """How all values follow from some channels that are observed with unit noise, shape (rows, all)."""
    inner = covariance[np.ix_(rows, rows)] + np.eye(len(rows))
    return np.asarray(np.linalg.solve(inner, covariance[rows]))


def linear_worth(loss: Array, outcome: PredictedObservation) -> float:
    """Regret that an outcome avoids by a linear rule for one change of mind, for normal differences in cost.

    Where few draws leave the worth of an outcome open (`worth_of` tells its standard error), this tells it with far
    less scatter, since only means and covariances are taken from the draws. The rule is made from one half of the
    draws and judged on the other, both ways, so that chance is not taken for news. Channels with a period are left out.

    Parameters
    ----------
    loss : ndarray, shape (n_draws, options)
        What each option costs in each draw.
    outcome : PredictedObservation
        What would be observed in each draw.
    """
    now, plain = best_option(loss), outcome.period == 0.0
    apart = np.delete(loss - loss[:, now : now + 1], now, axis=1)
    if not apart.shape[1] or not plain.any():
        return 0.0
    mean, gap = outcome.mean[:, plain] / outcome.std[plain], apart.mean(axis=0)
    found = []
    for half in halves(len(loss)):
        known, asked = mean[half] - mean[half].mean(axis=0), apart[half] - apart[half].mean(axis=0)
        rule = np.linalg.solve(known.T @ known / len(known) + np.eye(known.shape[1]), known.T @ asked / len(known))
        seen = (mean[~half] - mean[~half].mean(axis=0)) @ rule
        spread = np.sqrt(seen.var(axis=0) + np.sum(rule**2, axis=0) + _NOTHING)
        told = np.mean(seen * (apart[~half] - apart[~half].mean(axis=0)), axis=0) / spread
        found.append(_linear_worth(gap, np.maximum(told, 0.0) ** 2))
    return float(np.mean(found))


def _linear_worth(gap: Array, explained: Array) -> float:
    """Regret that the most promising change of mind avoids, for normal differences of mean ``gap``."""
    std = np.sqrt(np.maximum(explained, _NOTHING))
    u = gap / std
    return float(np.max(std * (np.exp(-0.5 * u**2) / np.sqrt(2.0 * np.pi) - u * ndtr(-u))))


def _gains(loss: Array, outcome: PredictedObservation, now: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """What each draw's reading avoids, and how often another option is then best, each (n_draws,)."""
    cost = (loss - loss[:, now : now + 1]).astype(np.float32)
    gains, changed = [], []
    for _ in range(REPEATS):
        read = outcome.mean + outcome.std * rng.standard_normal(outcome.mean.shape)
        then = _decided(read, outcome, cost)
        gains.append(loss[:, now] - np.take_along_axis(loss, then[:, None], axis=1)[:, 0])
        changed.append(then != now)
    return np.mean(gains, axis=0), np.mean(changed, axis=0)


def halves(count: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Every other draw, and the others."""
    first = np.arange(count) % 2 == 0
    return first, ~first


def _cross_gains(loss: Array, outcome: PredictedObservation, now: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """The same with many channels: combined by a rule from one half of the draws, weighed on the other, both ways."""
    gain, changed = np.empty(len(loss)), np.empty(len(loss))
    for half in halves(len(loss)):
        few = outcome.compressed(loss, half)
        gain[~half], changed[~half] = _gains(loss[~half], few.of(~half), now, rng)
    return gain, changed


def _decided(read: Array, outcome: PredictedObservation, cost: Weights) -> NDArray[np.int64]:
    """The option of least expected cost after each reading, shape (n,); a draw does not weigh on its own reading.

    Where too few draws would weigh, the reading is taken as scattering more than it does: less is then learnt from it.
    """
    close = _closeness(read, outcome)
    some, smooth = close[:: max(1, len(close) // ROWS_LOOKED_AT)], 1.0
    least = min(LEAST_WEIGHING, 0.25 * len(close))
    while smooth < MOST_SMOOTHED and _weighing(some, smooth) < least:
        smooth *= 1.25
    close *= np.float32(smooth**-2)
    np.maximum(close, LEAST_LOG, out=close)
    return np.asarray(np.argmin(np.exp(close, out=close) @ cost, axis=1))


def _closeness(read: Array, outcome: PredictedObservation) -> Weights:
    """Log likelihood of each reading (row) by each draw (column), over the best one's, shape (n, n)."""
    plain = outcome.period == 0.0
    middle, std = outcome.mean[:, plain].mean(axis=0), outcome.std[plain]
    made, shown = (((values[:, plain] - middle) / std).astype(np.float32) for values in (read, outcome.mean))
    # But for half the square of each reading, which is alike in all draws.
    close = made @ shown.T
    close -= np.float32(0.5) * np.sum(shown * shown, axis=1)
    for c in np.flatnonzero(~plain):
        period = outcome.period[c]
        apart = (read[:, c][:, None] - outcome.mean[:, c] + 0.5 * period) % period - 0.5 * period
        close -= (0.5 * (apart / outcome.std[c]) ** 2).astype(np.float32)
    np.fill_diagonal(close, -np.inf)
    close -= close.max(axis=1, keepdims=True)
    return np.asarray(close)


def _weighing(close: Weights, smooth: float) -> float:
    """How many draws weigh, in the median over readings."""
    weights = np.exp(close * np.float32(smooth**-2))
    return float(np.median(weights.sum(axis=1) ** 2 / np.sum(weights**2, axis=1)))
