"""Counts that scatter more than Poisson counts: from hour to hour, and whole nights in common.

A night of bad weather in the ionosphere, a louder floor or a real change raises or lowers all of its hours together.
Hours then look nearly like Poisson counts while means over nights are far less sure than their counts say.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from skyglint.activity.additive import Array, Fit

#: Below this probability the hours of a night are taken to scatter more than Poisson counts.
SCATTER = 0.01

#: Fewest nights, less what the fit follows of them, from which their scatter is told.
_FEWEST_FREE = 1.9


@dataclass(frozen=True, slots=True)
class Scatter:
    """How counts scatter about a fit; fields have the shape (...) of the repetitions.

    Attributes
    ----------
    dispersion, probability
        Pearson's chi-square of the hours about the night's own level, over its degrees of freedom, and the probability
        of more in Poisson counts.
    nights_sd
        Standard deviation of the nights' levels relative to the fit, beyond what counts explain; 0 where they show
        none, NaN where fewer than three nights can tell.
    covariance
        Of the strengths, all scatter allowed for, shape (..., k, k).
    followed
        Share of each night's level that the fit follows, for every span with exposure, shape (..., m).
    """

    dispersion: Array
    probability: Array
    nights_sd: Array
    covariance: Array
    followed: Array


def night_numbers(middle_unix: ArrayLike, solar_hour: ArrayLike) -> NDArray[np.int64]:
    """Return which night each span belongs to, from local solar noon to the next; numbers rise by one a night."""
    middle, hour = np.asarray(middle_unix, dtype=np.float64), np.asarray(solar_hour, dtype=np.float64) % 24.0
    # Noons are whole days apart, but for the equation of time.
    noon = (middle / 3600.0 - hour + 12.0) / 24.0
    first = noon[0] if noon.size else 0.0
    return np.asarray(np.round(noon - first) + (hour >= 12.0), dtype=np.int64)


def scatter_of(courses: ArrayLike, counts: ArrayLike, exposure: ArrayLike, fit: Fit, night: ArrayLike) -> Scatter:
    """Return how counts scatter about a fit, and how sure its strengths are in spite of it.

    Parameters
    ----------
    courses, counts, exposure, fit
        As for :func:`skyglint.activity.additive.fit_additive`.
    night
        Number of the night of each span, shape (n,).

    Notes
    -----
    Given a night's total, its hours are multinomial: their chi-square tells the scatter within nights. The scatter of
    the nights' totals beyond that is estimated by moments (DerSimonian & Laird 1986, Control. Clin. Trials 7, 177),
    with what the fit follows of each night's level allowed for, and enters the covariance as a level that all hours of
    a night share: the inverse information on either side of the variance of the score (Huber 1967; White 1982,
    Econometrica 50, 1). What a night has in common with the next, as a floor that drifts has, enters with half its
    weight, and only where it widens (Newey & West 1987, Econometrica 55, 703). Student's factor allows for few nights.
    """
    x, time = np.asarray(courses, dtype=np.float64), np.asarray(exposure, dtype=np.float64)
    used = time > 0
    n, expected = np.asarray(counts, dtype=np.float64)[..., used], fit.expected[..., used]
    number, index = np.unique(np.asarray(night)[used], return_inverse=True)
    member = (index == np.arange(index.max(initial=-1) + 1)[:, None]).astype(np.float64)
    seen, model = n @ member.T, np.maximum(expected @ member.T, 1e-300)
    nights = len(member)

    about = np.maximum(expected * ((seen / model) @ member), 1e-300)
    square = np.sum((n - about) ** 2 / about * (about > 1e-12), axis=-1)
    freedom = max(int(used.sum()) - nights - (x.shape[1] - 1), 1)
    dispersion, probability = square / freedom, np.asarray(special.chdtrc(freedom, square))
    within = np.where(probability < SCATTER, dispersion, 1.0)

    # A night's level of 1 + e moves the strengths by covariance x shared x e, and with them every night's expectation.
    shared = member @ (time[used, None] * x[used])
    followed = shared @ fit.covariance @ shared.T
    own = np.diagonal(followed, axis1=-2, axis2=-1) / model
    left = np.sum(1.0 - own, axis=-1)
    between = np.sum((seen - model) ** 2 / model, axis=-1)
    kept = np.sum((model[..., :, None] * np.eye(nights) - followed) ** 2 / model[..., :, None], axis=(-2, -1))
    variance = np.maximum((between - within * left) / np.where(kept > 0, kept, np.inf), 0.0)
    variance = np.where(left >= _FEWEST_FREE, variance, np.nan)
    student = special.stdtrit(np.maximum(left, _FEWEST_FREE), special.ndtr(1.0))
    common = np.nan_to_num(variance) * student**2
    along = np.minimum(_along(seen - model, model, np.diff(number) == 1), common)
    score = shared[1:] * (np.diff(number) == 1)[:, None]
    score = (score.T @ shared[:-1] + shared[:-1].T @ score) / 2.0
    varied = common[..., None, None] * (shared.T @ shared) + along[..., None, None] * score
    covariance = within[..., None, None] * fit.covariance + fit.covariance @ varied @ fit.covariance
    return Scatter(dispersion, probability, np.sqrt(variance), np.asarray(covariance), np.asarray(own[..., index]))


def _along(excess: Array, model: Array, adjacent: NDArray[np.bool_]) -> Array:
    """Return the covariance of the levels of nights that follow each other, shape (...); 0 where it is negative."""
    weight = np.sum(model[..., 1:] * model[..., :-1] * adjacent, axis=-1)
    product = np.sum(excess[..., 1:] * excess[..., :-1] * adjacent, axis=-1)
    return np.asarray(np.maximum(product / np.where(weight > 0, weight, np.inf), 0.0))
