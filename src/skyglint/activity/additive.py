"""The additive Poisson model: counts = exposure x (a sum of known courses, each times an unknown strength).

Daily course, showers over background and upper limits are all this one model. The likelihood is concave, so that there
is one maximum; intervals come from the profile of the likelihood (Wilks 1938), not from its curvature alone. Every
array of counts may hold many independent repetitions in its leading axis, which are fitted at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

_STEPS = 60
_CONVERGED = 1e-7
#: A rate is kept above this share of the mean: the information of a span grows without limit as its rate vanishes.
_LOWEST_RATE = 1e-6


@dataclass(frozen=True, slots=True)
class Fit:
    """Strengths of greatest likelihood.

    Attributes
    ----------
    strengths
        Shape (..., k).
    covariance
        Inverse of the expected information, shape (..., k, k); holds near the maximum only.
    log_likelihood
        Shape (...), without the terms that hold nothing but the counts.
    expected
        Expected counts, shape (..., n).
    """

    strengths: Array
    covariance: Array
    log_likelihood: Array
    expected: Array


def fit_additive(courses: ArrayLike, counts: ArrayLike, exposure: ArrayLike, offset: ArrayLike = 0.0) -> Fit:
    """Fit the strengths of courses by maximum likelihood.

    Parameters
    ----------
    courses
        Shape (n, k): rate per unit of strength in each of n spans of time. Some sum of them must be constant or at
        least everywhere positive, such as the daily mean.
    counts
        Shape (..., n).
    exposure
        Time watched, in units of 1 / rate, shape (n,); spans without exposure are left out.
    offset
        Rate that is known already, shape (..., n) or a number.

    Notes
    -----
    Fisher scoring with steps shortened so that no expected count turns negative and the likelihood never falls. Where
    the spans watched cannot tell the courses apart (too few hours of the day, no exposure at all), all is NaN.
    """
    x, seen = np.asarray(courses, dtype=np.float64), np.asarray(counts, dtype=np.float64)
    batch = seen.shape[:-1]
    seen = seen.reshape(int(np.prod(batch)), seen.shape[-1])
    time = np.asarray(exposure, dtype=np.float64)
    known = np.broadcast_to(np.asarray(offset, dtype=np.float64), (*batch, len(time))).reshape(seen.shape)
    watched = time > 0
    n_w: Array
    x_w, n_w, t_w, o_w = x[watched], seen[:, watched], time[watched], known[:, watched]
    k = x.shape[1]
    if len(x_w) < k or np.linalg.matrix_rank(x_w) < k:
        return Fit(*(np.full((*batch, *tail), np.nan) for tail in ((k,), (k, k), (), (len(time),))))

    strengths = _start(x_w, n_w, t_w, o_w)
    rate: Array = o_w + strengths @ x_w.T
    value = _log_likelihood(n_w, t_w * rate)
    active = np.ones(len(seen), dtype=bool)
    for _ in range(_STEPS):
        score = (n_w[active] / rate[active] - t_w) @ x_w
        information = _information(x_w, t_w, rate[active])
        step = np.linalg.solve(information, score[..., None])[..., 0]
        gain = np.einsum("rk,rk->r", step, score)
        moved = _line_search(np.asarray(step, dtype=np.float64), x_w, n_w[active], t_w, rate[active], value[active])
        strengths[active] += moved[:, None] * step
        rate[active] = o_w[active] + strengths[active] @ x_w.T
        new = _log_likelihood(n_w[active], t_w * rate[active])
        value[active] = new
        active[np.flatnonzero(active)[(gain < _CONVERGED) | (moved == 0.0)]] = False
        if not active.any():
            break
    covariance = np.linalg.inv(_information(x_w, t_w, rate))
    expected = time * (known + strengths @ x.T)
    return Fit(
        strengths.reshape(*batch, k),
        np.asarray(covariance, dtype=np.float64).reshape(*batch, k, k),
        value.reshape(batch),
        expected.reshape(*batch, len(time)),
    )


def profile_limit(
    courses: ArrayLike,
    counts: ArrayLike,
    exposure: ArrayLike,
    index: int,
    fit: Fit,
    sigmas: float,
    dispersion: ArrayLike = 1.0,
) -> Array:
    """Return the limit of one strength where the profile likelihood has fallen by sigmas**2 / 2, shape (...).

    Negative ``sigmas`` give the lower limit, positive the upper. ``dispersion`` widens for over-dispersed counts: the
    fall is multiplied by it (quasi-likelihood, McCullagh & Nelder 1989 sec. 9.3).
    """
    x = np.asarray(courses, dtype=np.float64)
    others = np.delete(x, index, axis=1)
    best = np.asarray(fit.strengths[..., index])
    wanted = abs(sigmas) * np.sqrt(dispersion)
    step = np.sign(sigmas) * wanted * np.sqrt(fit.covariance[..., index, index])
    for _ in range(8):
        fixed = fit_additive(others, counts, exposure, (best + step)[..., None] * x[:, index])
        fallen = np.sqrt(np.maximum(2.0 * (fit.log_likelihood - fixed.log_likelihood), 1e-12))
        # The root of the fall grows nearly in proportion to the step, so that this closes in fast.
        factor = np.clip(wanted / fallen, 0.5, 2.0)
        step = step * factor
        if np.all(np.abs(factor - 1.0) < 1e-4):
            break
    return np.asarray(best + step)


def _start(x: Array, counts: Array, time: Array, offset: Array) -> Array:
    """Return strengths whose rate is about constant and above zero everywhere."""
    flat = np.linalg.lstsq(x, np.ones(len(x)), rcond=None)[0]
    shape = np.where(np.abs(x @ flat) < 1e-9, 0.0, x @ flat)
    per_shape = -offset / np.where(shape == 0.0, 1.0, shape)
    lowest = np.max(np.where((offset <= 0.0) & (shape > 0.0), per_shape, 0.0), axis=1)
    highest = np.min(np.where((offset > 0.0) & (shape < 0.0), per_shape, np.inf), axis=1)
    if np.any((offset <= 0.0) & (shape <= 0.0)) or np.any(1.05 * lowest >= highest):
        raise ValueError("no sum of the courses is positive in every span")
    mean = (counts.sum(axis=1) + 0.5) / time.sum()
    level: Array = np.minimum(mean + 1.05 * lowest, 0.5 * (1.05 * lowest + highest))[:, None] * flat
    return level


def _log_likelihood(counts: Array, expected: Array) -> Array:
    value: Array = np.einsum("...n,...n->...", counts, np.log(expected)) - expected.sum(axis=-1)
    return value


def _information(x: Array, time: Array, rate: Array) -> Array:
    pairs = (x[:, :, None] * x[:, None, :]).reshape(len(x), -1)
    information: Array = ((time / rate) @ pairs).reshape(-1, x.shape[1], x.shape[1])
    return information


def _line_search(step: Array, x: Array, counts: Array, time: Array, rate: Array, value: Array) -> Array:
    """Return the share of each step, 1 or less, that keeps rates positive and does not lower the likelihood."""
    change = step @ x.T
    spare = np.maximum(rate - _LOWEST_RATE * rate.mean(axis=1, keepdims=True), 0.0)
    room = np.min(np.where(change < 0, spare / np.maximum(-change, 1e-300), np.inf), axis=1)
    share: Array = np.minimum(1.0, 0.95 * room)
    for _ in range(30):
        worse = _log_likelihood(counts, time * (rate + share[:, None] * change)) < value - 1e-9 - 1e-12 * np.abs(value)
        if not worse.any():
            break
        share = np.where(worse, share / 2.0, share)
    return np.asarray(np.where(worse, 0.0, share))
