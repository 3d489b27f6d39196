"""The mass index of a population of echoes, from amplitudes or durations, by maximum likelihood.

Masses follow dN ~ m^-s dm. Line density goes as mass, so that underdense amplitudes follow N(> A) ~ A^-(s - 1)
(McKinley, Meteor Science and Engineering (1961)). No line is drawn through binned logarithms: every echo enters with
the limits between which it would have been counted (Crawford, Jauncey & Murdoch 1970, Astrophys. J. 162, 405).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

#: How an overdense duration T depends on the line density q: ``proportional`` is T ~ q at one height, N(> T) ~
#: T^-(s - 1); ``sinking`` lets brighter meteors reach lower heights, T ~ q^(4/3), N(> T) ~ T^-3(s - 1)/4 (McIntosh
#: 1968, Kaiser 1953; from memory). They differ by a quarter in s - 1: a result says which it took.
DurationLaw = Literal["proportional", "sinking"]

_EXPONENTS: dict[DurationLaw, float] = {"proportional": 1.0, "sinking": 0.75}

#: Distance of the limit of completeness from the fullest decibel: in simulations with edges of detection 0.3 to 2 dB
#: wide, mass indices above it are right within their errors.
_MARGIN_DB = 2.0

#: Fewest echoes from which an index is told.
_FEWEST = 10


@dataclass(frozen=True, slots=True)
class MassIndex:
    """A mass index and how sure it is.

    Attributes
    ----------
    mass_index, low_68, high_68, low_95, high_95
        Best value and limits from the likelihood; NaN with fewer than ten echoes.
    echoes
        How many lay within their limits.
    law
        What was taken to depend on the mass, and how.
    """

    mass_index: float
    low_68: float
    high_68: float
    low_95: float
    high_95: float
    echoes: int
    law: str


def mass_index_from_amplitudes(amplitudes: ArrayLike, lowest: ArrayLike, highest: ArrayLike = np.inf) -> MassIndex:
    """Return the mass index from the peak amplitudes of underdense echoes.

    Parameters
    ----------
    amplitudes
        Peak amplitudes (square roots of power over the floor), shape (n,).
    lowest
        The amplitude from which on an echo as this one would surely have been found, one for all or one for each (the
        floor changes through a night).
    highest
        The amplitude at which echoes are no longer underdense or the receiver clips.
    """
    return _mass_index(amplitudes, lowest, highest, 1.0, "underdense amplitude ~ mass")


def mass_index_from_durations(
    durations_s: ArrayLike, shortest_s: ArrayLike, longest_s: ArrayLike = np.inf, law: DurationLaw = "proportional"
) -> MassIndex:
    """Return the mass index from the durations of overdense echoes; arguments as for the amplitudes.

    ``longest_s`` is where chemistry and wind begin to end echoes sooner than diffusion, some 10 to 30 s.
    """
    text = "overdense duration ~ mass" if law == "proportional" else "overdense duration ~ mass^(4/3)"
    return _mass_index(durations_s, shortest_s, longest_s, _EXPONENTS[law], text)


def completeness_limit(values: ArrayLike, fewest: int = 50, highest: float = np.inf) -> float:
    """Return the amplitude or duration from which on next to none is missed: two decibels above the fullest one.

    Numbers grow towards small values until detection fails, so that they are fullest where it begins to: the method of
    maximum curvature of seismology (Wiemer & Wyss 2000, Bull. Seismol. Soc. Am. 90, 859), with a margin as Woessner &
    Wiemer 2005 (Bull. Seismol. Soc. Am. 95, 684) give it (from memory). Only the edge is looked at: a limit sought by
    how well the values above it follow the law would follow their chances as well. NaN where fewer than ``fewest`` stay
    above it. Values of ``highest`` and more, from where on the law does not hold, are left out.
    """
    value = np.asarray(values, dtype=np.float64)
    value = value[np.isfinite(value) & (value > 0) & (value < highest)]
    if len(value) < fewest:
        return float("nan")
    levels_db = 20.0 * np.log10(value)
    lowest = float(levels_db.min())
    fullest = int(np.argmax(np.bincount((levels_db - lowest).astype(np.intp))))
    limit = float(10.0 ** ((lowest + fullest + 1.0 + _MARGIN_DB) / 20.0))
    return limit if np.count_nonzero(value >= limit) >= fewest else float("nan")


def _mass_index(values: ArrayLike, low: ArrayLike, high: ArrayLike, per_mass: float, law: str) -> MassIndex:
    value, lower, upper = np.broadcast_arrays(*(np.asarray(x, dtype=np.float64) for x in (values, low, high)))
    used = (value >= lower) & (value < upper) & (lower > 0)
    excess, span = np.log(value[used] / lower[used]), np.log(upper[used] / lower[used])
    if used.sum() < _FEWEST or excess.sum() <= 0:
        return MassIndex(np.nan, np.nan, np.nan, np.nan, np.nan, int(used.sum()), law)
    slopes = _slope_and_limits(excess, span, (0.0, -1.0, 1.0, -1.959964, 1.959964))
    best, low_68, high_68, low_95, high_95 = (1.0 + slope / per_mass for slope in slopes)
    return MassIndex(best, low_68, high_68, low_95, high_95, int(used.sum()), law)


def _slope_and_limits(excess: Array, span: Array, sigmas: tuple[float, ...]) -> list[float]:
    """Return the slope a of the density a exp(-a y) / (1 - exp(-a b)), 0 <= y < b, and its likelihood limits."""
    from scipy.optimize import brentq

    mean_step = float(excess.mean())

    def score(value: float) -> float:
        """Return the derivative of the log likelihood by the slope; it falls steadily."""
        slope = np.float64(value)
        product = slope * span
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            bent = np.where(
                np.abs(product) > 1e-6, 1 / slope - span / np.expm1(product), span / 2 - slope * span**2 / 12
            )
        return float(np.sum(np.where(np.isinf(span), 1 / slope, bent) - excess))

    def log_likelihood(value: float) -> float:
        slope = np.float64(value)
        product = slope * span
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            scale = np.where(np.abs(product) > 1e-9, slope / -np.expm1(-product), 1 / span)
        return float(np.sum(np.log(scale) - slope * excess))

    lowest = 1e-9 if np.isinf(span).any() else -50.0 / mean_step
    best = float(brentq(score, lowest, 50.0 / mean_step))
    top = log_likelihood(best)
    width = best / np.sqrt(len(excess)) if best > 0 else 1.0 / mean_step
    return [best if sigma == 0 else _limit(log_likelihood, best, top, sigma, abs(width), lowest) for sigma in sigmas]


def _limit(
    log_likelihood: Callable[[float], float], best: float, top: float, sigma: float, width: float, lowest: float
) -> float:
    """Return where the log likelihood has fallen by sigma**2 / 2 on the side of ``sigma``."""
    from scipy.optimize import brentq

    def above(slope: float) -> float:
        return log_likelihood(slope) - top + sigma**2 / 2

    far = best
    for _ in range(60):
        far = max(far + np.sign(sigma) * width, lowest)
        if above(far) < 0 or far == lowest:
            break
        width *= 1.5
    return float(brentq(above, min(best, far), max(best, far))) if above(far) < 0 else float(far)
