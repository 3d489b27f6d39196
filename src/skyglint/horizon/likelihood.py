"""How well predicted levels fit measured ones, whatever the calibration, the scatter and the share of wild rows.

For one row: the measured level is the predicted one plus an offset common to all rows (calibration) plus an error. The
error is normal, its variance that of the row's own stated error and of a scatter common to all (terrain, powers,
heights); with a small probability the row is wild (a wrong power in the list, a mountain in the way) and its error is
much wider. An upper limit contributes the probability of lying below it (a censored reading; Tobin, Econometrica 26,
24 (1958)). Offset, scatter and share are integrated over their priors; nothing is fitted and then held.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.special import logsumexp, ndtr

from skyglint.path.constants import FloatArray

#: Prior of the calibration: a USB receiver's own scale in dBm is good to about this (common practice).
OFFSET_SD_DB: Final = 6.0
_FARTHEST_OFFSET_DB: Final = 18.0
#: Scatter of real paths about a smooth-Earth prediction, log-uniform prior. ITU-R P.1546 gives 8.3 dB for analogue
#: FM from place to place (from memory).
SCATTER_DB: Final = np.geomspace(2.0, 14.0, 7)
#: Share of wild rows, equally probable, and their error.
WILD_SHARES: Final = (0.02, 0.1, 0.25)
WILD_SD_DB: Final = 22.0
USUAL_SHARE: Final = 0.1
#: Nodes added between nodes where a smooth function of them is integrated.
REFINE: Final = 4
#: Densities multiplied before a logarithm is taken: few enough not to underflow.
_AT_ONCE: Final = 16
_LEAST: Final = 1e-15


@dataclass(frozen=True, slots=True)
class Measured:
    """Measured levels, shape (n,).

    Attributes
    ----------
    level_dbm
        The level, or the upper limit.
    sd_db
        Its own standard error.
    is_limit
        Whether it is an upper limit.
    """

    level_dbm: FloatArray
    sd_db: FloatArray
    is_limit: NDArray[np.bool_]


def offsets_db(rows: int) -> FloatArray:
    """Return the offsets that are summed over, 1.5 dB apart, and down to 0.5 dB where many rows pin the offset down."""
    half = int(np.ceil(_FARTHEST_OFFSET_DB / np.clip(12.0 / np.sqrt(max(rows, 1)), 0.5, 1.5)))
    return np.linspace(-_FARTHEST_OFFSET_DB, _FARTHEST_OFFSET_DB, 2 * half + 1)


def log_likelihood(measured: Measured, predicted_dbm: FloatArray) -> FloatArray:
    """Return the log likelihood of predictions, offset and share integrated, scatter still free.

    Parameters
    ----------
    predicted_dbm
        Shape (n, k).

    Returns
    -------
    Shape (len(SCATTER_DB), k).
    """
    offsets = offsets_db(len(measured.level_dbm))
    log_prior = -0.5 * (offsets / OFFSET_SD_DB) ** 2
    log_prior = (log_prior - logsumexp(log_prior))[:, None]
    by_share = [table + log_prior for table in _tables(measured, predicted_dbm, offsets, WILD_SHARES)]
    return np.asarray(logsumexp(np.concatenate(by_share, axis=1), axis=1) - np.log(len(WILD_SHARES)))


def best_offset_db(measured: Measured, predicted_dbm: FloatArray) -> tuple[float, float]:
    """Return the most probable offset for one prediction, shape (n,), and the scatter that goes with it."""
    offsets = offsets_db(len(measured.level_dbm))
    (table,) = _tables(measured, predicted_dbm[:, None], offsets, (USUAL_SHARE,))
    table = table[..., 0] - 0.5 * (offsets / OFFSET_SD_DB) ** 2
    scatter, offset = np.unravel_index(int(table.argmax()), table.shape)
    return float(offsets[offset]), float(SCATTER_DB[scatter])


def wild_probability(measured: Measured, predicted_dbm: FloatArray, offset_db: float, scatter_db: float) -> FloatArray:
    """Return for each row, shape (n,), the probability that it is a wild one, given the rest."""
    residual = measured.level_dbm - predicted_dbm - offset_db
    tame, wild = (
        np.where(
            measured.is_limit,
            ndtr(residual / np.hypot(measured.sd_db, sd_db)),
            _normal(residual, np.hypot(measured.sd_db, sd_db)),
        )
        for sd_db in (scatter_db, WILD_SD_DB)
    )
    return np.asarray(USUAL_SHARE * wild / np.maximum((1 - USUAL_SHARE) * tame + USUAL_SHARE * wild, _LEAST))


def log_integral(nodes: FloatArray, log_values: FloatArray, log_prior: FloatArray) -> FloatArray:
    """Return the log of a prior-weighted mean over evenly spaced nodes (axis 0), refined by a cubic spline."""
    fine = np.linspace(nodes[0], nodes[-1], REFINE * (len(nodes) - 1) + 1)
    values = CubicSpline(nodes, log_values, axis=0)(fine)
    prior = np.interp(fine, nodes, log_prior)
    prior = prior - logsumexp(prior)
    return np.asarray(logsumexp(values + prior.reshape(-1, *[1] * (values.ndim - 1)), axis=0))


def over_scatter(log_values: FloatArray) -> FloatArray:
    """Integrate what :func:`log_likelihood` returns over the scatter (axis 0)."""
    return log_integral(np.log(SCATTER_DB), log_values, np.zeros(len(SCATTER_DB)))


def _tables(
    measured: Measured, predicted_dbm: FloatArray, offsets: FloatArray, shares: tuple[float, ...]
) -> list[FloatArray]:
    """Return for each share the log likelihood, shape (scatter, offsets, k)."""
    found = [np.zeros((len(SCATTER_DB), len(offsets), predicted_dbm.shape[1])) for _ in shares]
    for rows, density in ((~measured.is_limit, _normal), (measured.is_limit, _below)):
        if not rows.any():
            continue
        sd_db = measured.sd_db[rows, None, None]
        residual = (measured.level_dbm[rows, None] - predicted_dbm[rows])[:, None, :] - offsets[:, None]
        wild = density(residual, np.hypot(sd_db, WILD_SD_DB))
        # (1 - share) (tame + share / (1 - share) wild): the second term is the same for every scatter.
        mixed = [(np.log1p(-share) * len(residual), share / (1 - share) * wild) for share in shares]
        for place, scatter_db in enumerate(SCATTER_DB):
            tame = density(residual, np.hypot(sd_db, scatter_db))
            for table, (constant, weighed) in zip(found, mixed, strict=True):
                table[place] += constant + _log_product(tame + weighed)
    return found


def _normal(residual: FloatArray, sd_db: FloatArray) -> FloatArray:
    scaled = residual / sd_db
    scaled *= scaled
    scaled *= -0.5
    return np.asarray(np.exp(scaled, out=scaled) / (np.sqrt(2 * np.pi) * sd_db))


def _below(residual: FloatArray, sd_db: FloatArray) -> FloatArray:
    return np.asarray(ndtr(residual / sd_db))


def _log_product(density: FloatArray) -> FloatArray:
    """Return the sum of logarithms over the rows (axis 0), with few logarithms taken."""
    density = np.maximum(density, _LEAST, out=density)
    firsts = range(0, len(density), _AT_ONCE)
    logarithms = [np.log(np.multiply.reduce(density[k : k + _AT_ONCE], axis=0)) for k in firsts]
    return np.asarray(np.sum(logarithms, axis=0))
