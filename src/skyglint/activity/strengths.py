"""Showers told from the background: how strong each was, how sure that is, and when it was strongest.

The model is counts = exposure x (sporadic course + sum over showers of strength x response), by maximum likelihood. The
response is what the path would count for a shower of strength one; where it is a collecting area in km2 weighted by
sensitivity, a strength is a flux per km2 and hour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from skyglint.activity.additive import Array, Fit, fit_additive, profile_limit
from skyglint.activity.scatter import scatter_of

#: Standard deviations on either side that hold 95 % of a normal distribution.
_SIGMAS_95 = 1.959964


@dataclass(frozen=True, slots=True)
class Strength:
    """One shower's strength; fields have the shape (...) of the repetitions.

    Attributes
    ----------
    name
        The shower.
    strength
        Of greatest likelihood; may come out below zero when nothing is there.
    low_68, high_68, low_95, high_95
        Limits from the profile of the likelihood.
    significance
        How many standard deviations the data are from no such shower, negative for a deficit.
    probability
        Probability of such an excess, or more, without the shower.
    widening
        Variance over that of Poisson counts, which limits and significance allow for.
    influence
        Change of the strength for each span whose counts all rise in proportion, shape (..., n).
    """

    name: str
    strength: Array
    low_68: Array
    high_68: Array
    low_95: Array
    high_95: Array
    significance: Array
    probability: Array
    widening: Array
    influence: Array


@dataclass(frozen=True, slots=True)
class ShowerFit:
    """All showers, and how well the model holds.

    Attributes
    ----------
    showers
        One entry a shower, in the order given.
    background
        Strengths of the background's courses, shape (..., k).
    expected
        Expected counts, shape (..., n).
    dispersion, dispersion_probability, nights_sd
        Scatter within and between nights, as :class:`skyglint.activity.scatter.Scatter` has it; intervals and
        significances allow for it.
    followed
        Share of each span's night's level that the fit follows, shape (..., n).
    """

    showers: tuple[Strength, ...]
    background: Array
    expected: Array
    dispersion: Array
    dispersion_probability: Array
    nights_sd: Array
    followed: Array


def fit_showers(
    background: ArrayLike,
    responses: ArrayLike,
    names: Sequence[str],
    counts: ArrayLike,
    exposure_h: ArrayLike,
    night: ArrayLike | None = None,
) -> ShowerFit:
    """Fit the background and the strengths of showers.

    Parameters
    ----------
    background
        Courses of the background, shape (n, k), as :func:`skyglint.activity.daily.daily_courses` gives them.
    responses
        Echoes per hour of each shower at strength one, shape (n, m): area times activity profile.
    names
        The m showers.
    counts
        Echoes, shape (..., n).
    exposure_h
        Hours really watched, shape (n,).
    night
        Number of the night that each span belongs to, shape (n,); left out, all are of one.
    """
    base = np.asarray(background, dtype=np.float64)
    shower = np.asarray(responses, dtype=np.float64).reshape(len(base), len(names))
    # Areas are thousands of km2: scaled to about one, the equations stay well conditioned.
    scale = np.maximum(np.abs(shower).max(axis=0, initial=0.0), 1e-300)
    courses = np.concatenate([base, shower / scale], axis=1)
    fit = fit_additive(courses, counts, exposure_h)
    number = np.zeros(len(base)) if night is None else night
    scatter = scatter_of(courses, counts, exposure_h, fit, number)
    poisson = np.diagonal(fit.covariance, axis1=-2, axis2=-1)
    widening = np.diagonal(scatter.covariance, axis1=-2, axis2=-1) / poisson
    found = tuple(
        _strength(name, courses, counts, exposure_h, k, fit, widening[..., k], scale[k - base.shape[1]])
        for k, name in enumerate(names, start=base.shape[1])
    )
    background_strengths = fit.strengths[..., : base.shape[1]]
    followed = np.zeros(fit.expected.shape)
    followed[..., np.asarray(exposure_h, dtype=np.float64) > 0] = scatter.followed
    told = (scatter.dispersion, scatter.probability, scatter.nights_sd, followed)
    return ShowerFit(found, background_strengths, fit.expected, *told)


def _strength(
    name: str,
    courses: Array,
    counts: ArrayLike,
    exposure_h: ArrayLike,
    index: int,
    fit: Fit,
    widening: Array,
    scale: float,
) -> Strength:
    low_68, high_68, low_95, high_95 = (
        profile_limit(courses, counts, exposure_h, index, fit, sigmas, widening) / scale
        for sigmas in (-1.0, 1.0, -_SIGMAS_95, _SIGMAS_95)
    )
    without = fit_additive(np.delete(courses, index, axis=1), counts, exposure_h)
    best = fit.strengths[..., index]
    fall = np.sqrt(np.maximum(2.0 * (fit.log_likelihood - without.log_likelihood), 0.0) / widening)
    significance = np.sign(best) * fall
    limits = (low_68, high_68, low_95, high_95)
    influence = fit.covariance[..., index, :] @ (courses * np.asarray(exposure_h, dtype=np.float64)[:, None]).T / scale
    return Strength(name, best / scale, *limits, significance, special.ndtr(-significance), widening, influence)


@dataclass(frozen=True, slots=True)
class Peak:
    """When a shower was strongest; fields have the shape (...) of the repetitions.

    Attributes
    ----------
    longitude_deg
        Solar longitude of the maximum (median).
    low_68_deg, high_68_deg, low_95_deg, high_95_deg
        Central intervals. All are NaN where the candidates do not enclose the maximum: the data cannot tell.
    """

    longitude_deg: Array
    low_68_deg: Array
    high_68_deg: Array
    low_95_deg: Array
    high_95_deg: Array


def fit_peak(
    background: ArrayLike,
    response: ArrayLike,
    solar_longitude_deg: ArrayLike,
    counts: ArrayLike,
    exposure_h: ArrayLike,
    slopes_per_deg: tuple[float, float],
    candidates_deg: ArrayLike,
    widening: ArrayLike = 1.0,
) -> Peak:
    """Find the solar longitude of a shower's maximum, its profile's slopes before and after being known.

    Parameters
    ----------
    background, counts, exposure_h
        As :func:`fit_showers`.
    response
        Echoes per hour at strength one without the activity profile, shape (n,).
    solar_longitude_deg
        Of the spans, shape (n,).
    slopes_per_deg
        B before and after the maximum, activity 10^(-B |difference|).
    candidates_deg
        Longitudes to try, evenly spaced and rising; about a third of the expected error apart.
    widening
        Variance over that of Poisson counts, from :func:`peak_widening`: the log likelihood is divided by it.

    Notes
    -----
    The likelihood, with all strengths at their best for each candidate, is integrated over the candidates (flat prior).
    The profile has a kink, so that the likelihood is not parabolic, and limits at a fall of 1/2 hold the truth less
    often than they should (62 to 67 % instead of 68 % in simulations; the integral 64 to 72 %).
    """
    base, area = np.asarray(background, dtype=np.float64), np.asarray(response, dtype=np.float64)
    candidates, when = np.asarray(candidates_deg, dtype=np.float64), np.asarray(solar_longitude_deg, dtype=np.float64)
    scale = max(float(np.abs(area).max(initial=0.0)), 1e-300)
    values = []
    for candidate in candidates:
        since = (when - candidate + 180.0) % 360.0 - 180.0
        profile = 10.0 ** (-np.where(since < 0.0, *slopes_per_deg) * np.abs(since))
        fit = fit_additive(np.column_stack([base, area * profile / scale]), counts, exposure_h)
        values.append(np.where(fit.strengths[..., -1] > 0, fit.log_likelihood, -np.inf))
    likelihood = np.stack(values, axis=-1) / np.asarray(widening)[..., None]
    highest = likelihood.max(axis=-1, keepdims=True)
    weight = np.exp(likelihood - np.where(np.isfinite(highest), highest, 0.0))
    enclosed = np.isfinite(highest[..., 0]) & (np.maximum(weight[..., 0], weight[..., -1]) < _OPEN_EDGE)
    # Half of each candidate's own weight lies before its middle.
    share = (np.cumsum(weight, axis=-1) - weight / 2) / np.maximum(weight.sum(axis=-1, keepdims=True), 1e-300)
    return Peak(*(_quantile(candidates, share, enclosed, level) for level in _PEAK_LEVELS))


def peak_widening(
    courses: ArrayLike,
    response: ArrayLike,
    solar_longitude_deg: ArrayLike,
    counts: ArrayLike,
    exposure_h: ArrayLike,
    slopes_per_deg: tuple[float, float],
    peak_deg: float,
    night: ArrayLike,
) -> float:
    """Return how much larger the variance of a maximum's time is than Poisson counts would have it, for one repetition.

    The model is linear in a small shift of the maximum: its derivative is one course more. ``courses`` are all others,
    the shower's own among them; the rest as for :func:`fit_peak`.
    """
    x, time = np.asarray(courses, dtype=np.float64), np.asarray(exposure_h, dtype=np.float64)
    since = (np.asarray(solar_longitude_deg, dtype=np.float64) - peak_deg + 180.0) % 360.0 - 180.0
    before, after = slopes_per_deg
    profile = 10.0 ** (-np.where(since < 0.0, before, after) * np.abs(since))
    slope = np.asarray(response, dtype=np.float64) * profile * np.where(since < 0.0, -before, after)
    fit = fit_additive(x, counts, time)
    shifted = np.column_stack([x, slope / max(float(np.abs(slope).max(initial=0.0)), 1e-300)])
    used = time > 0
    rate = fit.expected[used] / time[used]
    information = (shifted[used] * (time[used] / rate)[:, None]).T @ shifted[used]
    covariance = np.asarray(np.linalg.pinv(information), dtype=np.float64)
    told = Fit(fit.strengths, covariance, fit.log_likelihood, fit.expected)
    scatter = scatter_of(shifted, counts, time, told, night)
    return float(scatter.covariance[-1, -1] / covariance[-1, -1])


def locate_peak(
    background: ArrayLike,
    response: ArrayLike,
    solar_longitude_deg: ArrayLike,
    counts: ArrayLike,
    exposure_h: ArrayLike,
    slopes_per_deg: tuple[float, float],
    near_deg: float,
    widening: ArrayLike = 1.0,
) -> Peak:
    """Find the maximum without candidates given: around ``near_deg``, more and more finely; one repetition.

    The first search reaches a fall of activity to a thirtieth on either side; arguments as :func:`fit_peak`.
    """
    center, reach = near_deg, 1.5 / min(slopes_per_deg)
    for _ in range(4):
        candidates = center + np.linspace(-reach, reach, 31)
        spans = (background, response, solar_longitude_deg, counts, exposure_h)
        peak = fit_peak(*spans, slopes_per_deg, candidates, widening)
        error = float(peak.high_68_deg - peak.low_68_deg) / 2.0
        if not reach > 5.0 * error:
            break
        center, reach = float(peak.longitude_deg), max(4.0 * error, reach / 10.0)
    return peak


#: Median, 68.27 % and 95 % central limits, in the order of :class:`Peak`.
_PEAK_LEVELS = (0.5, 0.158655, 0.841345, 0.025, 0.975)

#: Relative likelihood at the outermost candidates from which on they do not enclose the maximum (two sigmas).
_OPEN_EDGE = 0.135


def _quantile(candidates: Array, share: Array, enclosed: NDArray[np.bool_], level: float) -> Array:
    above = np.clip(np.sum(share < level, axis=-1), 1, len(candidates) - 1)
    left, right = (np.take_along_axis(share, (above + k)[..., None], axis=-1)[..., 0] for k in (-1, 0))
    part = np.clip((level - left) / np.maximum(right - left, 1e-300), 0.0, 1.0)
    value = candidates[above - 1] + part * (candidates[above] - candidates[above - 1])
    return np.asarray(np.where(enclosed, value, np.nan))
