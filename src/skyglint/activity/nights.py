"""Several nights, hours or channels taken together to one rate, whether or not they scatter more than counts may."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from skyglint.activity.poisson import ONE_SIGMA, poisson_limits

Method = Literal["Poisson, exact limits", "negative binomial, profile likelihood"]

#: Below this probability the scatter is taken to be more than that of counts.
_SCATTER = 0.01


@dataclass(frozen=True, slots=True)
class CombinedRate:
    """One rate from several counts.

    Attributes
    ----------
    rate_per_h, low_per_h, high_per_h
        Rate and limits; NaN without exposure.
    echoes, exposure_h
        Sums over the nights.
    method
        How the limits were found.
    dispersion, probability
        Pearson's chi-square of one common rate over its degrees of freedom, and the probability of more in Poisson
        counts; NaN for a single night.
    """

    rate_per_h: float
    low_per_h: float
    high_per_h: float
    echoes: int
    exposure_h: float
    method: Method
    dispersion: float
    probability: float


def combined_rate(counts: ArrayLike, exposure_h: ArrayLike, confidence: float = ONE_SIGMA) -> CombinedRate:
    """Combine counts and exposures, shape (n,), to one rate.

    While the counts scatter like Poisson counts about one rate, that is the total over the total exposure with exact
    limits. When they scatter more (weather of the ionosphere, interference, real changes), the nights are draws from a
    negative binomial of mean rate x exposure and variance m + m**2 / k (Lawless 1987, Canad. J. Statist. 15, 209); the
    limits come from the profile likelihood, widened by Student's factor for few nights, and no night dominates by its
    length alone.
    """
    seen, time = np.asarray(counts, dtype=np.float64), np.asarray(exposure_h, dtype=np.float64)
    watched = time > 0
    n, t = seen[watched], time[watched]
    total, hours = float(n.sum()), float(t.sum())
    if hours <= 0:
        return CombinedRate(np.nan, np.nan, np.nan, 0, 0.0, "Poisson, exact limits", np.nan, np.nan)
    dispersion = probability = np.nan
    if len(n) > 1 and total > 0:
        expected = t * total / hours
        square = float(np.sum((n - expected) ** 2 / expected))
        dispersion, probability = square / (len(n) - 1), float(special.chdtrc(len(n) - 1, square))
    if not probability < _SCATTER:
        low, high = poisson_limits(total, confidence)
        rates = (total / hours, float(low) / hours, float(high) / hours)
        return CombinedRate(*rates, int(total), hours, "Poisson, exact limits", dispersion, probability)
    sigmas = float(special.stdtrit(len(n) - 1, (1.0 + confidence) / 2.0))
    return CombinedRate(
        *_negative_binomial(n, t, sigmas),
        int(total),
        hours,
        "negative binomial, profile likelihood",
        dispersion,
        probability,
    )


def _negative_binomial(
    counts: NDArray[np.float64], time: NDArray[np.float64], sigmas: float
) -> tuple[float, float, float]:
    """Return the mean rate of greatest likelihood and its profile limits."""
    from scipy.optimize import brentq, minimize_scalar

    def fall_at(log_rate: float) -> float:
        """Return minus the log likelihood at a rate, the shape k at its best."""
        mean = time * np.exp(log_rate)

        def minus(log_shape: float) -> float:
            k = np.exp(log_shape)
            terms = special.gammaln(counts + k) - special.gammaln(k) - special.gammaln(counts + 1)
            return -float(np.sum(terms + k * np.log(k / (k + mean)) + counts * np.log(mean / (k + mean))))

        return float(minimize_scalar(minus, bounds=(-7.0, 14.0), method="bounded", options={"xatol": 1e-3}).fun)

    center = float(np.log(counts.sum() / time.sum()))
    found = minimize_scalar(fall_at, bounds=(center - 4.0, center + 4.0), method="bounded", options={"xatol": 1e-4})
    best, least = float(found.x), float(found.fun)

    def excess(log_rate: float) -> float:
        return fall_at(log_rate) - least - sigmas**2 / 2

    limits = []
    for side in (-1.0, 1.0):
        far = best + 0.1 * side
        while excess(far) < 0 and abs(far - best) < 20:
            far = best + 2 * (far - best)
        limits.append(
            float(np.exp(brentq(excess, min(best, far), max(best, far), xtol=1e-4))) if excess(far) >= 0 else np.nan
        )
    return float(np.exp(best)), limits[0], limits[1]
