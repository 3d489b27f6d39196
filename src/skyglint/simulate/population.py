"""Random populations of echoes: how many, when, how strong, how high."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skyglint.simulate.events import Head, Overdense, Population, Underdense
from skyglint.simulate.scenario import Scenario

_OVERDENSE_LEAST_S = 0.6  # overdense trails of shorter life are drawn as underdense ones
_OVERDENSE_MOST_S = 30.0
_LOWEST_KM, _HIGHEST_KM = 75.0, 115.0


def draw(
    population: Population, scenario: Scenario, random: np.random.Generator
) -> list[Underdense | Overdense | Head]:
    """Return one random outcome of a population: a Poisson number of events at uniform times."""
    end_s = scenario.recording.duration_s
    length_s = min(population.duration_s or end_s, end_s - population.start_s)
    if length_s <= 0:
        return []
    n = int(random.poisson(population.rate_per_h * length_s / 3600))
    starts = np.sort(population.start_s + random.uniform(0, length_s, n))
    peaks = peak_snr_db(n, population, random)
    heights = np.clip(random.normal(population.height_km, population.height_sd_km, n), _LOWEST_KM, _HIGHEST_KM)
    kinds = random.random(n)
    return [
        _event(population, float(start), float(peak), float(height), float(kind), random)
        for start, peak, height, kind in zip(starts, peaks, heights, kinds, strict=True)
    ]


def peak_snr_db(n: int, population: Population, random: np.random.Generator) -> NDArray[np.float64]:
    """Return peak strengths with N(> P) ~ P^(-(s - 1) / 2) between the least and the most.

    Underdense amplitude is proportional to line density, hence to mass, of which dN ~ m^-s dm (McKinley 1961 ch. 8;
    s = 2.10 for sporadic meteors, Pokorny and Brown, A&A 592, A150 (2016)).
    """
    slope = (population.mass_index - 1) / 2
    weakest, strongest = 10 ** (population.min_snr_db / 10), 10 ** (population.max_snr_db / 10)
    rank = random.uniform(0, 1, n)
    power = (weakest**-slope + rank * (strongest**-slope - weakest**-slope)) ** (-1 / slope)
    return np.asarray(10 * np.log10(power))


def overdense_life_s(mass_index: float, random: np.random.Generator) -> float:
    """Return a life with N(> T) ~ T^(-3 (s - 1) / 4), up to half a minute (McIntosh 1968; Kaiser 1953)."""
    slope = 0.75 * (mass_index - 1)
    least, most = _OVERDENSE_LEAST_S**-slope, _OVERDENSE_MOST_S**-slope
    return float((least + random.uniform() * (most - least)) ** (-1 / slope))


def _event(
    population: Population, start_s: float, peak_db: float, height_km: float, kind: float, random: np.random.Generator
) -> Underdense | Overdense | Head:
    doppler_hz = float(random.normal(0, population.doppler_sd_hz))
    station = population.transmitter
    if kind < population.overdense_share:
        return Overdense(
            transmitter=station,
            start_s=start_s,
            duration_s=overdense_life_s(population.mass_index, random),
            peak_snr_db=peak_db,
            height_km=height_km,
            glints=int(random.integers(1, 6)),
            doppler_hz=doppler_hz,
        )
    if kind < population.overdense_share + population.head_share:
        return Head(
            transmitter=station,
            start_s=start_s,
            duration_s=float(random.uniform(0.1, 0.4)),
            peak_snr_db=peak_db,
            doppler_hz=float(random.uniform(200, 2000)),
            doppler_rate_hz_s=float(-random.uniform(1000, 8000)),
        )
    return Underdense(
        transmitter=station,
        start_s=start_s,
        peak_snr_db=peak_db,
        height_km=height_km,
        speed_km_s=population.speed_km_s,
        beta_deg=float(np.degrees(np.arcsin(random.uniform(0.3, 1)))),
        doppler_hz=doppler_hz,
    )
