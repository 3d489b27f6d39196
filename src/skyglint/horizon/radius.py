"""The effective radius and the odds between round and plane, from levels against distance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import logsumexp

from skyglint.horizon.likelihood import (
    Measured,
    best_offset_db,
    log_integral,
    log_likelihood,
    over_scatter,
    wild_probability,
)
from skyglint.horizon.links import Links
from skyglint.horizon.models import plane_levels_dbm, round_levels
from skyglint.path.constants import FloatArray

Verdict = Literal["round", "plane", "cannot tell"]

#: Effective radii that are weighed, log-uniform prior: from half the Earth's to three times it, which takes in every
#: refraction factor that a place can have for long.
RADII_KM: Final = np.geomspace(3000.0, 16_000.0, 25)
#: Troposcatter over its formula, and the standard deviation of its prior: the Recommendations differ by 10 dB.
STRENGTHS_DB: Final = np.arange(-12.0, 12.5, 4.0)
STRENGTH_SD_DB: Final = 4.0
#: Prior probability that there is no troposcatter to speak of.
NO_SCATTER: Final = 0.2

_LOG_PRIOR: Final = -0.5 * (STRENGTHS_DB / STRENGTH_SD_DB) ** 2

#: When the tool decides: odds of ten to one ("strong" on the scale of Jeffreys, Theory of Probability (1961), from
#: memory), this many levels and as many beyond the horizon, where alone the models differ, and for "round" a 95 %
#: interval no wider than a factor (the radii weighed span one of 5.3).
DECISIVE_LOG10_ODDS: Final = 1.0
LEAST_LEVELS: Final = 8
LEAST_BEYOND: Final = 4
WIDEST_FACTOR: Final = 4.0
#: A model about which levels scatter by more than this fits nothing, and a radius at the edge of those weighed is none.
WORST_SCATTER_DB: Final = 13.0
_EDGES_KM: Final = (1.06 * RADII_KM[0], RADII_KM[-1] / 1.06)

#: Refraction factors of the lowest air over land, from winter days to summer nights, equally probable (common
#: practice; 4/3 is the standard atmosphere of ITU-R P.453 and P.526).
REFRACTION_LOW: Final = 1.2
REFRACTION_HIGH: Final = 1.6


@dataclass(frozen=True, slots=True)
class Interval:
    """A median with its central intervals, in km."""

    median_km: float
    low_68_km: float
    high_68_km: float
    low_95_km: float
    high_95_km: float


@dataclass(frozen=True, slots=True)
class Fit:
    """What one model makes of the levels at its most probable parameters.

    Attributes
    ----------
    predicted_dbm
        Level of each row, offset included, shape (n,).
    offset_db, scatter_db
        Calibration and scatter.
    wild
        Probability of each row to be wild, shape (n,).
    """

    predicted_dbm: FloatArray
    offset_db: float
    scatter_db: float
    wild: FloatArray


@dataclass(frozen=True, slots=True)
class RadiusResult:
    """What the levels say.

    Attributes
    ----------
    verdict, reason
        The answer, and why, in a sentence.
    effective
        Effective radius, if the Earth is round.
    earth
        The Earth's radius, effective over the stated range of refraction factors.
    log10_odds
        Of round to plane; both taken for equally probable before.
    radius_km, density
        Posterior of the effective radius per unit of its logarithm, greatest value 1, shape (m,).
    strength_db
        Most probable strength of the troposcatter over its formula; ``-inf`` where none is more probable.
    round_fit, plane_fit
        Both models at their best.
    variant
        Which of several views of the links (heights, antenna) is the most probable one.
    """

    verdict: Verdict
    reason: str
    effective: Interval
    earth: Interval
    log10_odds: float
    radius_km: FloatArray
    density: FloatArray
    strength_db: float
    round_fit: Fit
    plane_fit: Fit
    variant: int


def weigh(variants: Sequence[Links], measured: Measured) -> RadiusResult:
    """Weigh both models and find the radius; links and levels have shape (n,), n at least 1.

    The marginal likelihoods hold the uncertainties of calibration, terrain, powers, limits and troposcatter; the round
    one is also averaged over all radii, which costs it what its extra freedom is worth.

    Parameters
    ----------
    variants
        One or more views of the same links, equally probable: the models are averaged over them.
    """
    rounds = [_weigh_round(links, measured) for links in variants]
    planes = [_weigh_plane(links, measured) for links in variants]
    log_posterior = logsumexp([one.log_posterior for one in rounds], axis=0) - np.log(len(variants))
    log_plane = float(logsumexp([one.log_evidence for one in planes])) - np.log(len(variants))
    fine = np.geomspace(RADII_KM[0], RADII_KM[-1], 20 * (len(RADII_KM) - 1) + 1)
    log_fine = CubicSpline(np.log(RADII_KM), log_posterior)(np.log(fine))
    log_odds = (float(logsumexp(log_fine)) - np.log(len(fine)) - log_plane) / np.log(10)
    density = np.exp(log_fine - log_fine.max())

    effective = interval_of(fine, density)
    by_round = max(range(len(variants)), key=lambda k: float(logsumexp(rounds[k].log_posterior)))
    by_plane = max(range(len(variants)), key=lambda k: planes[k].log_evidence)
    variant = by_plane if log_odds < 0 else by_round
    beyond = int(variants[variant].beyond_horizon.sum())
    round_fit, plane_fit = _fit(measured, rounds[by_round].best_dbm), _fit(measured, planes[by_plane].level_dbm)
    scatter_db = (plane_fit if log_odds < 0 else round_fit).scatter_db
    verdict, reason = decide(len(measured.level_dbm), beyond, log_odds, effective, scatter_db)
    return RadiusResult(
        verdict=verdict,
        reason=reason,
        effective=effective,
        earth=earth_interval(fine, density),
        log10_odds=float(log_odds),
        radius_km=fine,
        density=density,
        strength_db=rounds[by_round].strength_db,
        round_fit=round_fit,
        plane_fit=plane_fit,
        variant=variant,
    )


@dataclass(frozen=True, slots=True)
class _Round:
    """The round model with one view of the links: log likelihood by radius, best strength, levels at the best."""

    log_posterior: FloatArray
    strength_db: float
    best_dbm: FloatArray


@dataclass(frozen=True, slots=True)
class _Plane:
    log_evidence: float
    level_dbm: FloatArray


def _weigh_round(links: Links, measured: Measured) -> _Round:
    levels = round_levels(links, 1e3 * RADII_KM)
    without = over_scatter(log_likelihood(measured, levels.rays_dbm))
    by_strength = np.stack([over_scatter(log_likelihood(measured, levels.total_dbm(float(db)))) for db in STRENGTHS_DB])
    scattered = log_integral(STRENGTHS_DB, by_strength, _LOG_PRIOR)
    log_posterior = np.logaddexp(np.log(1 - NO_SCATTER) + scattered, np.log(NO_SCATTER) + without)
    strength = _best_strength(by_strength, without)
    return _Round(log_posterior, strength, levels.total_dbm(strength)[:, int(log_posterior.argmax())])


def _weigh_plane(links: Links, measured: Measured) -> _Plane:
    level = plane_levels_dbm(links)
    return _Plane(float(over_scatter(log_likelihood(measured, level[:, None]))[0]), level)


def interval_of(radius_km: FloatArray, density: FloatArray) -> Interval:
    """Return median and central intervals of a density over rising radii."""
    share = np.cumsum(density)
    share = (share - 0.5 * density) / share[-1]
    cuts = np.interp((0.5, 0.15865, 0.84135, 0.025, 0.975), share, radius_km)
    return Interval(*(float(cut) for cut in cuts))


def earth_interval(radius_km: FloatArray, density: FloatArray) -> Interval:
    """Return the Earth's radius: the effective one over a refraction factor anywhere in the stated range."""
    factors = np.linspace(REFRACTION_LOW, REFRACTION_HIGH, 81)
    radii = (radius_km[:, None] / factors).ravel()
    weight = np.repeat(density, len(factors))
    order = np.argsort(radii)
    return interval_of(radii[order], weight[order])


def decide(levels: int, beyond: int, log10_odds: float, effective: Interval, scatter_db: float) -> tuple[Verdict, str]:
    """Return the verdict and the reason for it.

    Parameters
    ----------
    levels, beyond
        Usable levels, and how many of them are of transmitters beyond the horizon of a round Earth.
    scatter_db
        About the better model.
    """
    if levels < LEAST_LEVELS:
        few = "one usable level is" if levels == 1 else f"{levels} usable levels are"
        return "cannot tell", f"{few} too few, at least {LEAST_LEVELS} are needed"
    if beyond < LEAST_BEYOND:
        return "cannot tell", (
            f"only {beyond} of the levels are of transmitters far enough for the models to differ, at least "
            f"{LEAST_BEYOND} are needed"
        )
    if scatter_db > WORST_SCATTER_DB:
        return "cannot tell", f"neither model fits: the levels scatter by {scatter_db:.0f} dB about the better one"
    if log10_odds <= -DECISIVE_LOG10_ODDS:
        return "plane", f"a plane explains the levels better, {odds_words(-log10_odds)}"
    if log10_odds < DECISIVE_LOG10_ODDS:
        return "cannot tell", "neither model explains the levels ten times better than the other"
    better = f"a round Earth explains the levels better, {odds_words(log10_odds)}"
    if effective.high_95_km > WIDEST_FACTOR * effective.low_95_km:
        return "cannot tell", f"{better}, but they leave its radius undetermined"
    if not _EDGES_KM[0] < effective.median_km < _EDGES_KM[1]:
        return "cannot tell", f"{better}, but only with a radius at the edge of those that were weighed"
    return "round", better


def odds_words(log10_odds: float) -> str:
    """Return odds in words, no larger than anyone should believe of a model.

    Examples
    --------
    >>> odds_words(1.5), odds_words(25.0)
    ('30 to one', 'more than a million to one')
    """
    if log10_odds >= 6.0:
        return "more than a million to one"
    odds = 10**log10_odds
    digits = 10 ** int(np.floor(log10_odds)) if log10_odds >= 1 else 1
    return f"{int(odds // digits * digits):,} to one".replace(",", "\u202f")


def _best_strength(by_strength: FloatArray, without: FloatArray) -> float:
    weights = logsumexp(by_strength, axis=1) + _LOG_PRIOR - logsumexp(_LOG_PRIOR)
    if float(logsumexp(without)) + np.log(NO_SCATTER) > float(logsumexp(weights)) + np.log(1 - NO_SCATTER):
        return float("-inf")
    return float(STRENGTHS_DB[int(weights.argmax())])


def _fit(measured: Measured, predicted_dbm: FloatArray) -> Fit:
    offset_db, scatter_db = best_offset_db(measured, predicted_dbm)
    wild = wild_probability(measured, predicted_dbm, offset_db, scatter_db)
    return Fit(predicted_dbm + offset_db, offset_db, scatter_db, wild)
