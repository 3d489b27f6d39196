"""An antenna's gain over ground: its beam, the ground's reflection, its polarisation.

The beam is a model of two numbers, gain and beamwidth: the usual parabola in decibels near the axis, and behind it an
even level that carries the rest of a lossless antenna's power.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from skyglint.path.constants import FloatArray
from skyglint.path.diffraction import GROUND, Surface
from skyglint.path.geometry import dot, unit, wavelength_m

Polarization = Literal["horizontal", "vertical", "circular"]

#: A beam that by itself takes all the power, by a gain too high for its width, still leaks this much (common practice).
_LEAST_BACK_LEVEL_DB: Final = -30.0


def angle_between_deg(
    azimuth1_deg: ArrayLike, elevation1_deg: ArrayLike, azimuth2_deg: ArrayLike, elevation2_deg: ArrayLike
) -> FloatArray:
    """Return the angle between directions in the sky (haversine, exact at small angles)."""
    elevation1, elevation2 = np.radians(elevation1_deg), np.radians(elevation2_deg)
    across = np.sin(np.radians(np.asarray(azimuth2_deg) - np.asarray(azimuth1_deg)) / 2) ** 2
    half = np.sin((elevation2 - elevation1) / 2) ** 2 + np.cos(elevation1) * np.cos(elevation2) * across
    return np.asarray(np.degrees(2 * np.arcsin(np.sqrt(np.clip(half, 0, 1)))))


def beam_gain_dbi(off_axis_deg: ArrayLike, gain_dbi: float, beamwidth_deg: float) -> FloatArray:
    """Return the gain at an angle off the axis: gain - 12 (angle / beamwidth)^2, or the back level if that is larger.

    At half the beamwidth the gain is 3 dB down, by definition. Source of the parabola: ITU-R F.1336 and others.
    """
    off_axis = np.asarray(off_axis_deg, dtype=np.float64)
    return np.maximum(gain_dbi - 12 * (off_axis / beamwidth_deg) ** 2, back_level_dbi(gain_dbi, beamwidth_deg))


@lru_cache(maxsize=64)
def back_level_dbi(gain_dbi: float, beamwidth_deg: float) -> float:
    """Return the even level outside the beam at which the antenna, lossless, radiates just what it is fed."""
    angle = np.radians(np.linspace(0, 180, 721))
    weight = np.sin(angle) * (angle[1] - angle[0]) / 2
    beam = 10 ** ((gain_dbi - 12 * (np.degrees(angle) / beamwidth_deg) ** 2) / 10)
    low, high = 10 ** ((gain_dbi + _LEAST_BACK_LEVEL_DB) / 10), 10 ** (gain_dbi / 10)
    for _ in range(40):
        middle = np.sqrt(low * high)
        too_much = np.sum(np.maximum(beam, middle) * weight) > 1
        low, high = (low, middle) if too_much else (middle, high)
    return float(10 * np.log10(low))


def reflection_coefficient(
    elevation_deg: ArrayLike, frequency_hz: ArrayLike, *, vertical: bool, surface: Surface = "land"
) -> NDArray[np.complex128]:
    """Return the complex Fresnel reflection coefficient of smooth ground (ITU-R P.527; P.1411 gives the same form)."""
    permittivity, conductivity = GROUND[surface]
    sine = np.sin(np.radians(np.asarray(elevation_deg, dtype=np.float64)))
    complex_permittivity = permittivity - 18_000j * conductivity / (np.asarray(frequency_hz) / 1e6)
    root = np.sqrt(complex_permittivity - 1 + sine**2)
    first = complex_permittivity * sine if vertical else sine + 0j
    return np.asarray((first - root) / (first + root))


def gain_over_ground_dbi(
    azimuth_deg: ArrayLike,
    elevation_deg: ArrayLike,
    frequency_hz: ArrayLike,
    *,
    aim_azimuth_deg: float,
    aim_elevation_deg: float,
    gain_dbi: float,
    beamwidth_deg: float,
    height_above_ground_m: float,
    polarization: Polarization,
    surface: Surface = "land",
) -> FloatArray:
    """Return the gain towards directions in the sky, the ray reflected by flat ground included.

    The direct ray leaves at the elevation, the reflected one at its negative, 2 h sin(elevation) longer; they add as
    fields (two-ray model). Circular polarisation is the mean of horizontal and vertical. Below the horizon the gain is
    -200 dBi.
    """
    elevation = np.asarray(elevation_deg, dtype=np.float64)
    lag = 4 * np.pi * height_above_ground_m * np.sin(np.radians(elevation)) / wavelength_m(frequency_hz)
    fields = [
        10
        ** (
            beam_gain_dbi(
                angle_between_deg(azimuth_deg, sign * elevation, aim_azimuth_deg, aim_elevation_deg),
                gain_dbi,
                beamwidth_deg,
            )
            / 20
        )
        for sign in (1, -1)
    ]
    powers = [
        np.abs(
            fields[0]
            + reflection_coefficient(elevation, frequency_hz, vertical=vertical, surface=surface)
            * fields[1]
            * np.exp(-1j * lag)
        )
        ** 2
        for vertical in _components(polarization)
    ]
    power = np.where(elevation > 0, np.mean(powers, axis=0), 0.0)
    return np.asarray(10 * np.log10(np.maximum(power, 1e-20)))


def lobe_elevations_deg(
    height_above_ground_m: float, frequency_hz: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the elevations of the ground lobes and of the nulls between them, for horizontal polarisation.

    Over well reflecting ground lobes stand at sin e = (2n - 1) lambda / (4 h) and nulls at sin e = n lambda / (2 h),
    the horizon's own null left out (image theory).
    """
    step = float(wavelength_m(frequency_hz)) / (4 * max(height_above_ground_m, 1e-9))
    sines = step * np.arange(1, max(int(1 / step), 1) + 1)
    inside = sines[sines <= 1]
    angles = np.degrees(np.arcsin(inside))
    return angles[0::2], angles[1::2]


def polarization_factor(
    transmitter_m: FloatArray,
    transmitter_up: FloatArray,
    transmitter_polarization: Polarization,
    receiver_m: FloatArray,
    receiver_up: FloatArray,
    receiver_polarization: Polarization,
    point_m: FloatArray,
) -> FloatArray:
    """Return the part, 0 to 1, of the scattered power that both polarisations leave to the receiver.

    Free electrons re-radiate the incident field's part across the ray to the receiver (sin^2 gamma, McKinley 1961 ch.
    9); the receiving antenna takes the part along its own polarisation: together the squared product of the two unit
    fields. A circular antenna is the mean of horizontal and vertical. ``*_up`` are the ends' local verticals.
    """
    sent = _field_directions(unit(point_m - transmitter_m), transmitter_up, transmitter_polarization)
    taken = _field_directions(unit(point_m - receiver_m), receiver_up, receiver_polarization)
    return np.asarray(np.mean([dot(one, other) ** 2 for one in sent for other in taken], axis=0))


def _components(polarization: Polarization) -> tuple[bool, ...]:
    return {"horizontal": (False,), "vertical": (True,), "circular": (False, True)}[polarization]


def _field_directions(ray: FloatArray, up: FloatArray, polarization: Polarization) -> list[FloatArray]:
    horizontal = unit(np.cross(ray, up))
    return [np.cross(horizontal, ray) if vertical else horizontal for vertical in _components(polarization)]
