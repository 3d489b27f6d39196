"""How a trail's echo rises and falls: the gain of underdense and overdense trails and of head echoes, peak about 1."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skyglint.path.geometry import TrailGeometry, midpoint_geometry
from skyglint.path.trails import decay_time_s, diffusion_m2_s, fresnel_half_zone_m
from skyglint.simulate.arrival import Arrival

#: Half zones on either side of the specular point that are drawn: with half zones of some 0.8 km a trail of 13 km, as
#: long as trails are (McKinley 1961 ch. 5, from memory). Shorter ones turn the phase where they taper off.
_ZONES = 8.0
_DECAYS = 7.0  # amplitude decay times after which an echo is over (61 dB)
_TAIL = 0.85  # the part of an overdense trail's life after which only its underdense rest decays


def trail_over_middle(distance_km: float, height_km: float, beta_deg: float) -> TrailGeometry:
    """Return the geometry of a trail above the middle of a path of this length along the ground."""
    ranges, _, phi = midpoint_geometry(distance_km * 1e3, height_km * 1e3)
    return TrailGeometry(ranges, ranges, phi, np.asarray(beta_deg, dtype=np.float64))


def trail_decay_s(geometry: TrailGeometry, height_km: float, frequency_hz: float) -> float:
    """Return the amplitude decay time that diffusion gives at this height."""
    return float(decay_time_s(diffusion_m2_s(height_km), frequency_hz, geometry.phi_deg))


def underdense(
    passing_s: float, crossing_s: float, decay_s: float, doppler_hz: float = 0.0, step_s: float = 0.001
) -> Arrival:
    """Return an underdense echo: each element of the trail scatters from when it forms, and decays from then on.

    gain(t) = integral up to t of exp(-i pi (t'/T)^2) exp(-(t - t')/tau) dt', where T is the time through half a Fresnel
    zone: the Cornu spiral of McKinley, Meteor Science and Engineering (1961) ch. 8, with the decay inside the integral.

    Parameters
    ----------
    passing_s
        When the meteor passes the specular point.
    crossing_s
        T, half-zone length over speed.
    decay_s
        tau, the amplitude's 1/e time.
    """
    step = min(step_s, crossing_s / 32)
    formed_s = _ZONES * crossing_s
    t = np.arange(-formed_s, formed_s + _DECAYS * decay_s + step, step)
    window = np.clip((1 - np.abs(t) / formed_s) / 0.25, 0, 1)  # no edge where the trail ends
    element = np.exp(-1j * np.pi * (t / crossing_s) ** 2) * window**2
    # The integral in pieces, so that exp(t / tau) never overflows.
    gain = _decaying_sum(element, np.exp(-step / decay_s))
    gain *= np.exp(2j * np.pi * doppler_hz * t)
    return Arrival(passing_s - formed_s, step, (gain / np.abs(gain).max()).astype(np.complex64))


def _decaying_sum(values: NDArray[np.complex128], keep: float) -> NDArray[np.complex128]:
    """Return y with y[n] = keep * y[n - 1] + values[n]."""
    piece = max(min(int(300 / -np.log(keep)), len(values)), 1)
    grow = keep ** -np.arange(piece)
    out = np.empty_like(values)
    last = 0.0 + 0.0j
    for begin in range(0, len(values), piece):
        part = values[begin : begin + piece]
        n = len(part)
        out[begin : begin + n] = (np.cumsum(part * grow[:n]) + last * keep) / grow[:n]
        last = out[begin + n - 1]
    return out


def overdense(
    start_s: float,
    duration_s: float,
    decay_s: float,
    rise_s: float,
    glints: int,
    drift_hz: float,
    doppler_hz: float,
    random: np.random.Generator,
) -> Arrival:
    """Return an overdense echo: the reflecting cylinder swells and shrinks, then an underdense rest decays.

    The critical radius follows r^2 = 4 D t ln(T / t) and the power is proportional to r: P = sqrt(e u ln(1/u)), u = t/T
    (McKinley 1961 ch. 8; T is ``duration_s``). Winds bend the trail into ``glints`` that appear one after another and
    beat, each with a shift of its own.
    """
    step = min(0.001, duration_s / 200, rise_s / 8)
    t = np.arange(0, duration_s * _TAIL + _DECAYS * decay_s + step, step)
    life = np.clip(t / duration_s, 1e-9, _TAIL)
    power = np.sqrt(np.e * life * np.log(1 / life))
    envelope = np.sqrt(power) * np.exp(-np.maximum(t - _TAIL * duration_s, 0) / decay_s)
    envelope *= 1 - np.exp(-2 * t / rise_s)
    gain = envelope * _glint_sum(t, glints, drift_hz, duration_s, random) * np.exp(2j * np.pi * doppler_hz * t)
    return Arrival(start_s, step, (gain / np.abs(gain).max()).astype(np.complex64))


def _glint_sum(
    t: NDArray[np.float64], glints: int, drift_hz: float, duration_s: float, random: np.random.Generator
) -> NDArray[np.complex128]:
    """Return the sum of glints: a steady one at once, the others fading in within the first half of the trail's life.

    Sheared winds bend a trail until it reflects at several places, each moving with its own wind (McKinley 1961 ch. 8);
    shifts and strengths wander over seconds, so that the beats are not regular.
    """
    total = np.ones(len(t), dtype=np.complex128)
    for _ in range(glints - 1):
        onset = random.uniform(0.05, 0.5) * duration_s
        arrived = np.clip((t - onset) / (0.1 * duration_s + 0.05), 0, 1)
        shift = random.normal(0, drift_hz)
        total += arrived * _glint(t, random.uniform(0.3, 0.8), shift, 0.7 * drift_hz, random)
    return total


def _glint(
    t: NDArray[np.float64], weight: float, shift_hz: float, wander_hz: float, random: np.random.Generator
) -> NDArray[np.complex128]:
    """Return one glint: its shift swings by ``wander_hz`` in some seconds, its strength a little."""
    period_s, swing, start = random.uniform(3, 8), random.uniform(0, 2 * np.pi), random.uniform(0, 2 * np.pi)
    turns = shift_hz * t + wander_hz * period_s / (2 * np.pi) * np.sin(2 * np.pi * t / period_s + swing)
    strength = weight * (1 + 0.25 * np.sin(2 * np.pi * t / random.uniform(2, 6) + start))
    return np.asarray(strength * np.exp(1j * (2 * np.pi * turns + start)))


def head(start_s: float, duration_s: float, doppler_hz: float, doppler_rate_hz_s: float) -> Arrival:
    """Return a head echo: a chirp that swells and fades; near the specular point the shift changes linearly.

    The rate is v^2 (1/R1 + 1/R2) (1 - sin^2 phi cos^2 beta) / lambda (geometry of a straight flight).
    """
    t = np.linspace(0, duration_s, 129)
    gain = np.sin(np.pi * t / duration_s).astype(np.complex64)
    return Arrival(start_s, t[1], gain, doppler_hz + doppler_rate_hz_s * t)


def crossing_s(geometry: TrailGeometry, frequency_hz: float, speed_km_s: float) -> float:
    """Return the time through half a Fresnel zone."""
    return float(fresnel_half_zone_m(geometry, frequency_hz)) / (speed_km_s * 1e3)
