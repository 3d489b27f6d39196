"""From a shower's strength on one path to a flux, a limiting magnitude and mass, and an equivalent visual rate.

A count over a collecting area is a flux of trails above a limiting line density. Everything beyond that rests on
relations that are good to half a magnitude at best, and on the absolute calibration of the path, which is good to a
factor of about three unless it was measured: the results carry what was assumed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

#: Limiting magnitude that visual fluxes and zenithal hourly rates are stated for.
VISUAL_LIMIT_MAGNITUDE = 6.5


def magnitude_of_line_density(line_density_per_m: float) -> float:
    """Return the absolute visual magnitude of a trail: M = 40 - 2.5 log10 q (McKinley 1961; about 40 km/s, +-1.25)."""
    return 40.0 - 2.5 * math.log10(line_density_per_m)


def line_density_of_magnitude(magnitude: float) -> float:
    """Return the line density per metre of an absolute visual magnitude, log10 q = 16 - 0.4 M (McKinley 1961)."""
    return float(10.0 ** (16.0 - 0.4 * magnitude))


def mass_g(magnitude: float, speed_km_s: float) -> float:
    """Return the mass of a meteoroid, log10 m = 14.7 - 4 log10 V - 0.4 M (after Jacchia et al. 1967; from memory)."""
    return float(10.0 ** (14.7 - 4.0 * math.log10(speed_km_s) - 0.4 * magnitude))


def population_index(mass_index: float) -> float:
    """Return r of s = 1 + 2.5 log10 r."""
    return float(10.0 ** ((mass_index - 1.0) / 2.5))


def flux_of_zhr(zhr: float, r: float) -> float:
    """Return the flux per km2 and hour of meteors brighter than 6.5 for a zenithal hourly rate.

    Source: Koschack & Rendtel 1990, WGN 18, 44 and 119: c(r) ZHR / A_red with c = 10.65 r - 12.15 and A_red = 178700
    r^-1.82 km2; holds for 1.8 < r < 3.5.
    """
    return float((10.65 * r - 12.15) * zhr / (178_700.0 * r**-1.82))


def zhr_of_flux(flux_per_km2_h: float, r: float) -> float:
    """Return the zenithal hourly rate for a flux per km2 and hour of meteors brighter than 6.5; NaN outside its range.

    The inverse of :func:`flux_of_zhr`.
    """
    return flux_per_km2_h / flux_of_zhr(1.0, r) if 1.8 <= r <= 3.5 else math.nan


@dataclass(frozen=True, slots=True)
class ShowerFlux:
    """A shower's flux and what it would be to the eye; each with its 68 % limits of counting alone.

    Attributes
    ----------
    flux_per_km2_h, low_per_km2_h, high_per_km2_h
        Trails above the limiting line density.
    limiting_magnitude, limiting_mass_g
        What that density stands for.
    zhr, zhr_low, zhr_high
        Equivalent zenithal hourly rate; NaN where the population index lies outside 1.8 to 3.5.
    assumptions
        One sentence each.
    """

    flux_per_km2_h: float
    low_per_km2_h: float
    high_per_km2_h: float
    limiting_magnitude: float
    limiting_mass_g: float
    zhr: float
    zhr_low: float
    zhr_high: float
    assumptions: tuple[str, ...]


def shower_flux(
    strength: float,
    low: float,
    high: float,
    limiting_line_density_per_m: float,
    mass_index: float,
    speed_km_s: float,
    calibration: float = 1.0,
) -> ShowerFlux:
    """Return the flux of a shower whose response was a collecting area in km2.

    Parameters
    ----------
    strength, low, high
        Echoes per hour and km2, and the 68 % limits.
    limiting_line_density_per_m
        Line density that the collecting area's weights refer to.
    mass_index, speed_km_s
        Of the shower.
    calibration
        True over modelled number of echoes, where a known shower or a test signal has told it.
    """
    r = population_index(mass_index)
    to_visual = (line_density_of_magnitude(VISUAL_LIMIT_MAGNITUDE) / limiting_line_density_per_m) ** (1.0 - mass_index)
    flux, flux_low, flux_high = (value / calibration for value in (strength, low, high))
    zhr, zhr_low, zhr_high = (zhr_of_flux(value * to_visual, r) for value in (flux, flux_low, flux_high))
    magnitude = magnitude_of_line_density(limiting_line_density_per_m)
    trusted = "" if calibration != 1.0 else ": the model's own, good to a factor of about three"
    assumptions = (
        f"limiting line density {limiting_line_density_per_m:.2g} per metre",
        f"mass index {mass_index:.2f} (population index {r:.2f})",
        "magnitude from line density by McKinley 1961, uncertain by a factor of three in density",
        f"calibration factor {calibration:g}{trusted}",
    )
    mass = mass_g(magnitude, speed_km_s)
    return ShowerFlux(flux, flux_low, flux_high, magnitude, mass, zhr, zhr_low, zhr_high, assumptions)
