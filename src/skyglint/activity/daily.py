"""The daily cycle of the sporadic meteors: its course over local solar time, and whether the morning leads.

The Earth's leading side meets more meteors: rates rise after local midnight, are highest near 6 h local apparent solar
time and lowest near 18 h, with a ratio of 2 to 6 (ITU-R P.843-1 (1997) sec. 1: about 4, roughly sinusoidal).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from skyglint.activity.additive import Array, fit_additive
from skyglint.activity.poisson import ONE_SIGMA, poisson_limits
from skyglint.activity.scatter import SCATTER, scatter_of

#: Above this probability of a course as strong by chance, the hour of the maximum is not told.
_CHANCE = 0.05


@dataclass(frozen=True, slots=True)
class DailyCycle:
    """A fitted course, mean x (1 + amplitude x cos(2 pi (hour - hour_of_maximum) / 24)); fields have shape (...).

    Attributes
    ----------
    mean_per_h, mean_sd_per_h
        Mean rate over the day and its standard error.
    amplitude, amplitude_sd
        Relative amplitude; the rates of maximum and minimum stand as (1 + amplitude) / (1 - amplitude).
    hour_of_maximum_h, hour_of_maximum_sd_h
        Local solar time of the maximum, 0 to 24; NaN where the data cannot tell.
    probability_constant
        Probability of a course as strong in a rate that does not change (likelihood ratio, two degrees of freedom).
    dispersion, dispersion_probability
        Pearson's chi-square over its degrees of freedom, about each night's own level, and the probability of more in
        Poisson counts. All errors are widened by its root where that probability is under 1 %.
    nights_sd
        Scatter of the nights' levels beyond that of counts, relative; the errors allow for it. NaN where too few nights
        can tell it.
    """

    mean_per_h: Array
    mean_sd_per_h: Array
    amplitude: Array
    amplitude_sd: Array
    hour_of_maximum_h: Array
    hour_of_maximum_sd_h: Array
    probability_constant: Array
    dispersion: Array
    dispersion_probability: Array
    nights_sd: Array

    @property
    def ratio(self) -> Array:
        """Greatest over least rate; infinite where the least is zero."""
        least = np.maximum(1.0 - self.amplitude, 0.0)
        return np.where(least > 0, (1.0 + self.amplitude) / np.where(least > 0, least, 1.0), np.inf)


def daily_courses(solar_hour: ArrayLike, bin_h: float = 0.0, harmonics: int = 1) -> Array:
    """Return the courses of a daily cycle, shape (n, 1 + 2 harmonics): constant, cosine, sine, ...

    ``bin_h`` is the length of the spans that ``solar_hour`` are the middles of: a span shows its mean, which is flatter
    than its middle.
    """
    hour = np.asarray(solar_hour, dtype=np.float64)
    columns = [np.ones_like(hour)]
    for order in range(1, harmonics + 1):
        angle, flattening = 2.0 * np.pi * order * hour / 24.0, np.sinc(order * bin_h / 24.0)
        columns += [flattening * np.cos(angle), flattening * np.sin(angle)]
    return np.stack(columns, axis=-1)


def fit_daily_cycle(
    solar_hour: ArrayLike,
    counts: ArrayLike,
    exposure_h: ArrayLike,
    bin_h: float = 0.0,
    night: ArrayLike | None = None,
) -> DailyCycle:
    """Fit the course of the day to counts by maximum likelihood.

    Parameters
    ----------
    solar_hour
        Local apparent solar time of the middle of each span, shape (n,).
    counts
        Echoes in each span, shape (..., n).
    exposure_h
        Hours really watched in each span, shape (n,).
    bin_h
        Length of a span.
    night
        Number of the night that each span belongs to, shape (n,); left out, all are of one.
    """
    courses = daily_courses(solar_hour, bin_h)
    fit = fit_additive(courses, counts, exposure_h)
    scatter = scatter_of(courses, counts, exposure_h, fit, np.zeros(len(courses)) if night is None else night)
    covariance = scatter.covariance
    mean, cosine, sine = np.moveaxis(fit.strengths, -1, 0)
    swing = np.hypot(cosine, sine)
    safe = np.where(swing > 0, swing, 1.0)

    # Gradients of the amplitude and of the phase by the three strengths (propagation of errors).
    zero = np.zeros_like(mean)
    by_amplitude = np.stack([-swing / mean**2, cosine / (safe * mean), sine / (safe * mean)], axis=-1)
    by_hour = np.stack([zero, -sine / safe**2, cosine / safe**2], axis=-1) * 24.0 / (2.0 * np.pi)
    constant = fit_additive(courses[:, :1], counts, exposure_h)
    within = np.where(scatter.probability < SCATTER, scatter.dispersion, 1.0)
    fall = 2.0 * (fit.log_likelihood - constant.log_likelihood) / within
    probability = special.chdtrc(2, np.maximum(fall, 0.0))
    told = probability < _CHANCE
    hour = np.degrees(np.arctan2(sine, cosine)) / 15.0 % 24.0
    return DailyCycle(
        mean_per_h=mean,
        mean_sd_per_h=np.sqrt(covariance[..., 0, 0]),
        amplitude=swing / mean,
        amplitude_sd=_propagated(by_amplitude, covariance),
        hour_of_maximum_h=np.where(told, hour, np.nan),
        hour_of_maximum_sd_h=np.where(told, _propagated(by_hour, covariance), np.nan),
        probability_constant=probability,
        dispersion=scatter.dispersion,
        dispersion_probability=scatter.probability,
        nights_sd=scatter.nights_sd,
    )


def _propagated(gradient: Array, covariance: Array) -> Array:
    return np.asarray(np.sqrt(np.einsum("...j,...jk,...k->...", gradient, covariance, gradient)))


@dataclass(frozen=True, slots=True)
class MorningTest:
    """Whether more echoes come between local midnight and noon than between noon and midnight.

    Attributes
    ----------
    before, after
        Echoes in the two halves of the day.
    before_h, after_h
        Hours watched in them.
    ratio
        Rate before noon over the rate after; NaN where a half was not watched.
    probability
        Probability of as many before noon, or more, if both halves had one rate (exact, one-sided).
    """

    before: int
    after: int
    before_h: float
    after_h: float
    ratio: float
    probability: float


def morning_test(solar_hour: ArrayLike, counts: ArrayLike, exposure_h: ArrayLike) -> MorningTest:
    """Test the morning against the evening; arguments as :func:`fit_daily_cycle`, for one repetition.

    Given the total, the number before noon is binomial with the share of the time watched (the conditional test of two
    Poisson rates, Przyborowski & Wilenski 1940, Biometrika 31, 313). Blind to how the rate runs within the halves.
    """
    morning = np.asarray(solar_hour, dtype=np.float64) % 24.0 < 12.0
    seen, time = np.asarray(counts, dtype=np.float64), np.asarray(exposure_h, dtype=np.float64)
    watched = time > 0
    before, after = (int(seen[part & watched].sum()) for part in (morning, ~morning))
    before_h, after_h = (float(time[part & watched].sum()) for part in (morning, ~morning))
    if before_h <= 0 or after_h <= 0:
        return MorningTest(before, after, before_h, after_h, np.nan, np.nan)
    probability = float(special.bdtrc(before - 1, before + after, before_h / (before_h + after_h)))
    ratio = before / before_h / (after / after_h) if after else np.inf
    return MorningTest(before, after, before_h, after_h, ratio if before + after else np.nan, probability)


@dataclass(frozen=True, slots=True)
class Comparison:
    """How counts stand to an expected course.

    Attributes
    ----------
    factor, factor_low, factor_high
        Counted over expected, with the exact Poisson interval of the total.
    deviance, freedom, probability
        Likelihood-ratio statistic of the shape alone (the factor left free), its degrees of freedom, and the
        probability of a worse fit by chance. The expected counts should be 1 or more a span for it to hold.
    """

    factor: float
    factor_low: float
    factor_high: float
    deviance: float
    freedom: int
    probability: float


def compare_course(
    counts: ArrayLike, exposure_h: ArrayLike, expected_per_h: ArrayLike, confidence: float = ONE_SIGMA
) -> Comparison:
    """Compare counts with the course that a model expects, in level and in shape; all shapes (n,)."""
    seen = np.asarray(counts, dtype=np.float64)
    model = np.asarray(exposure_h, dtype=np.float64) * np.asarray(expected_per_h, dtype=np.float64)
    used = model > 0
    seen, model = seen[used], model[used]
    total = float(seen.sum())
    low, high = poisson_limits(total, confidence)
    factor = total / model.sum()
    scaled = model * factor
    ratio = np.where(seen > 0, seen / np.where(scaled > 0, scaled, 1.0), 1.0)
    deviance = 2.0 * float(np.sum(seen * np.log(ratio)))
    freedom = len(seen) - 1
    chance = float(special.chdtrc(freedom, deviance)) if freedom > 0 and total > 0 else np.nan
    return Comparison(float(factor), float(low / model.sum()), float(high / model.sum()), deviance, freedom, chance)
