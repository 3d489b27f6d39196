"""Surveys with a known truth, and how often the horizon experiment is right about them.

The simulator is written down again from the sources, with nothing of the models that it tests. Sphere: free space
(ITU-R P.525), diffraction by the first term of ITU-R P.526-15 sec. 3.1 beyond the horizon and its sec. 3.2 within,
troposcatter by ITU-R P.452-18 eq. (45) beyond 10 mrad. Plane: 40 log d - 20 log(h1 h2), the plane-Earth loss, where
it exceeds free space. Horizontal polarisation over average land.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.horizon.likelihood import Measured
from skyglint.horizon.links import Links
from skyglint.horizon.radius import weigh

FloatArray = NDArray[np.float64]

LIGHT_KM_MHZ = 299.792458
EARTH_KM = 6371.0


@dataclass(frozen=True, slots=True)
class Survey:
    """A made-up survey: the links and what was measured on them."""

    links: Links
    measured: Measured


@dataclass(frozen=True, slots=True)
class SurveyCell:
    """Surveys of one kind of Earth.

    Attributes
    ----------
    factor
        Radius over 6371 km; NaN for a plane.
    surveys, right, wrong
        How many, and the shares of right and of wrong verdicts; the rest says that it cannot tell.
    inside_68, inside_95
        Share of the intervals that hold the true effective radius; NaN for a plane.
    radius_error, width_68
        Median of the error of the radius over the truth, without sign, and median of half the 68 % interval over the
        truth; NaN for a plane.
    """

    factor: float
    surveys: int
    right: float
    wrong: float
    inside_68: float
    inside_95: float
    radius_error: float
    width_68: float


def measure_surveys(
    factor: float | None,
    surveys: int,
    seed: int,
    *,
    scatter: bool = True,
    floor_dbm: float | None = None,
    stated_sd_db: float = 6.0,
    near: bool = False,
) -> SurveyCell:
    """Return how often the experiment is right about a sphere of 6371 km times ``factor``, or a plane (None).

    Parameters
    ----------
    scatter, floor_dbm, stated_sd_db
        As in :func:`simulated`.
    near
        Five stations within 35 km instead of sixty from 10 to 300 km: the only right answer is "cannot tell".
    """
    case = [round(1000 * (factor or 0.0)), int(scatter), int(floor_dbm is None), round(stated_sd_db), int(near)]
    rng = np.random.default_rng([seed, *case])
    truth = EARTH_KM * (np.nan if factor is None else factor)
    expected = "cannot tell" if near else "plane" if factor is None else "round"
    rows = []
    for _ in range(surveys):
        survey = simulated(
            rng,
            factor,
            stations=5 if near else 60,
            near_km=5.0 if near else 10.0,
            far_km=35.0 if near else 300.0,
            scatter=scatter,
            floor_dbm=floor_dbm,
            stated_sd_db=stated_sd_db,
        )
        found = weigh([survey.links], survey.measured)
        radius = found.effective
        rows.append(
            (
                found.verdict == expected,
                found.verdict not in (expected, "cannot tell"),
                radius.low_68_km <= truth <= radius.high_68_km,
                radius.low_95_km <= truth <= radius.high_95_km,
                abs(radius.median_km / truth - 1.0),
                (radius.high_68_km - radius.low_68_km) / 2.0 / truth,
            )
        )
    table = np.array(rows, dtype=float)
    right, wrong, inside_68, inside_95 = (float(share) for share in table[:, :4].mean(axis=0))
    error, width = (float(value) for value in np.median(table[:, 4:], axis=0))
    if factor is None or near:
        inside_68 = inside_95 = error = width = np.nan
    return SurveyCell(float(truth / EARTH_KM), surveys, right, wrong, inside_68, inside_95, error, width)


def free_space(d_km: FloatArray, f_mhz: FloatArray) -> FloatArray:
    """Return the free-space loss in dB, ITU-R P.525."""
    return 20 * np.log10(4 * np.pi * d_km * 1e3 * f_mhz / LIGHT_KM_MHZ)


def _first_term(d: FloatArray, h1: FloatArray, h2: FloatArray, f: FloatArray, a: float | FloatArray) -> FloatArray:
    k = 0.36 * (a * f) ** (-1 / 3) * ((22 - 1) ** 2 + (18000 * 0.003 / f) ** 2) ** -0.25
    beta = (1 + 1.6 * k**2 + 0.67 * k**4) / (1 + 4.5 * k**2 + 1.53 * k**4)
    x = 2.188 * beta * f ** (1 / 3) * a ** (-2 / 3) * d
    fx = np.where(x >= 1.6, 11 + 10 * np.log10(x) - 17.6 * x, -20 * np.log10(x) - 5.6488 * x**1.425)
    total = fx
    for h in (h1, h2):
        b = beta * 9.575e-3 * beta * f ** (2 / 3) * a ** (-1 / 3) * h
        high = 17.6 * np.sqrt(np.maximum(b - 1.1, 1e-9)) - 5 * np.log10(np.maximum(b - 1.1, 1e-9)) - 8
        low = 20 * np.log10(b + 0.1 * b**3)
        total = total + np.maximum(np.where(b > 2, high, low), 2 + 20 * np.log10(k))
    return -total


def diffraction(d: FloatArray, h1: FloatArray, h2: FloatArray, f: FloatArray, a: float) -> FloatArray:
    """Return the loss by diffraction in dB: distances and effective radius in km, heights in m, frequency in MHz."""
    beyond = _first_term(d, h1, h2, f, a)
    sight = np.sqrt(2 * a) * (np.sqrt(h1 / 1e3) + np.sqrt(h2 / 1e3))
    c, m = (h1 - h2) / (h1 + h2), 250 * d**2 / (a * (h1 + h2))
    angle = np.arccos(np.clip(1.5 * c * np.sqrt(3 * m / (m + 1) ** 3), -1, 1))
    b = 2 * np.sqrt((m + 1) / (3 * m)) * np.cos(np.pi / 3 + angle / 3)
    d1 = d * (1 + b) / 2
    d2 = d - d1
    clear = ((h1 - 500 * d1**2 / a) * d2 + (h2 - 500 * d2**2 / a) * d1) / d
    need = 17.456 * np.sqrt(np.maximum(d1 * d2, 1e-9) * (LIGHT_KM_MHZ / f) / d)
    grazing = _first_term(d, h1, h2, f, 500 * (d / (np.sqrt(h1) + np.sqrt(h2))) ** 2)
    within = np.where((clear > need) | (grazing < 0), 0.0, (1 - clear / need) * grazing)
    return np.where(d < sight, within, beyond)


def scattered(d: FloatArray, h1: FloatArray, h2: FloatArray, f: FloatArray, a: float) -> FloatArray:
    """Return the loss by troposcatter in dB, large where both ends see each other; units as for diffraction."""
    theta = 1e3 * d / a - 1e3 * (np.sqrt(2 * h1 / 1e3 / a) + np.sqrt(2 * h2 / 1e3 / a))
    angle = np.maximum(theta, 0.1)
    later = 0.18 * 320 - 0.23 * 39 + 22 * np.log10(f) + 35 * np.log10(angle) + 17 * np.log10(d) + 0.07
    ghz = f / 1e3
    earlier = 190 + 25 * np.log10(ghz) - 2.5 * np.log10(ghz / 2) ** 2 + 20 * np.log10(d) + 0.573 * angle - 48 + 0.07
    return np.where(theta > 0, np.maximum(later, earlier), 1000.0)


def simulated(
    rng: np.random.Generator,
    factor: float | None,
    *,
    stations: int = 60,
    near_km: float = 10.0,
    far_km: float = 300.0,
    scatter: bool = True,
    floor_dbm: float | None = None,
    error_db: float = 6.0,
    stated_sd_db: float | None = None,
) -> Survey:
    """Return a survey over a sphere of 6371 km times ``factor``, or over a plane where it is None.

    Level errors of 6 dB; one in ten has a mountain in the way or a wrong power in the list; the calibration is off by
    a normal error of 3 dB; troposcatter is 4 dB (standard deviation) stronger or weaker than its formula.
    ``error_db`` is all of a level's error, ``stated_sd_db`` what of it the survey's own column admits: the rest is the
    path's, for the inference to find out.
    """
    d, f = rng.uniform(near_km, far_km, stations), rng.uniform(88.0, 108.0, stations)
    h1, h2 = np.exp(rng.uniform(np.log(60), np.log(500), stations)), np.full(stations, 8.0)
    erp_w, gain = 10 ** rng.uniform(2.5, 5, stations), 5.0
    eirp = 10 * np.log10(erp_w) + 30 + 2.15
    if factor is None:
        loss = np.maximum(40 * np.log10(d * 1e3) - 20 * np.log10(h1 * h2), free_space(d, f))
        level = eirp + gain - loss
    else:
        a = factor * EARTH_KM
        level = eirp + gain - free_space(d, f) - diffraction(d, h1, h2, f, a)
        if scatter:
            air = np.minimum(eirp + gain - scattered(d, h1, h2, f, a), eirp + gain - free_space(d, f))
            level = 10 * np.log10(10 ** (level / 10) + 10 ** ((air + rng.normal(0, 4)) / 10))
    level = level + rng.normal(0, 3) + rng.normal(0, error_db, stations)
    wild = rng.random(stations) < 0.1
    mountain, power = -rng.uniform(10, 35, stations), rng.choice([-10.0, 10.0, 20.0], stations)
    level = np.where(wild, level + np.where(rng.random(stations) < 0.5, mountain, power), level)
    is_limit = np.zeros(stations, dtype=bool) if floor_dbm is None else level < floor_dbm
    level = np.where(is_limit, floor_dbm, level) if floor_dbm is not None else level
    same = np.full(stations, 1.0)
    links = Links(
        distance_m=d * 1e3,
        azimuth_deg=0 * same,
        frequency_hz=f * 1e6,
        transmitter_height_m=h1,
        site_height_m=h2,
        eirp_dbm=eirp,
        gain_dbi=gain * same,
        vertical=np.zeros(stations, dtype=bool),
        height_known=np.ones(stations, dtype=bool),
    )
    stated = error_db if stated_sd_db is None else stated_sd_db
    return Survey(links, Measured(level, stated * same, is_limit))
