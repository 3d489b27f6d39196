"""Arrivals that are not meteors: aircraft, satellites, sporadic E, ducts, lightning, impulses and plain bursts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skyglint.simulate.arrival import Arrival

_SPORADIC_E_STEADY = 0.5  # share of the power that does not fade
_DUCT_STEADY = 0.7


def burst(start_s: float, duration_s: float, doppler_hz: float) -> Arrival:
    """Return a burst of constant power."""
    n = max(round(duration_s / 0.001), 1) + 1
    shift = np.full(n, doppler_hz) if doppler_hz else None
    return Arrival(start_s, duration_s / (n - 1), np.ones(n, dtype=np.complex64), shift)


def steady(start_s: float, duration_s: float) -> Arrival:
    """Return the signal that is there all the time."""
    return Arrival(start_s, duration_s, np.ones(2, dtype=np.complex64))


def aircraft(
    start_s: float, duration_s: float, doppler_hz: float, doppler_end_hz: float, direct_share: float
) -> Arrival:
    """Return a reflection that swells and fades while its shift runs evenly, beating with a direct signal.

    Near the baseline the shift is (v sin a)^2 (1/R1 + 1/R2) t / wavelength, for a flight at the angle a to it: the
    sum of two distances to a straight flight, to second order (geometry).

    ``direct_share`` is the direct signal's amplitude over the reflection's largest.
    """
    step = min(0.002, 0.02 / max(abs(doppler_hz), abs(doppler_end_hz), 1.0))
    t = np.arange(0, duration_s + step, step)
    u = np.clip(t / duration_s, 0, 1)
    turns = duration_s * (doppler_hz * u + (doppler_end_hz - doppler_hz) * u**2 / 2)
    reflected = np.sin(np.pi * u) ** 2 * np.exp(2j * np.pi * turns)
    edge = _ramp(t, duration_s, min(2.0, duration_s / 4))
    return Arrival(start_s, step, (reflected + direct_share * edge).astype(np.complex64))


def satellite(start_s: float, duration_s: float, doppler_hz: float) -> Arrival:
    """Return a line that sweeps from plus to minus ``doppler_hz``.

    The range rate of a straight flight past, v^2 t / sqrt(d^2 + v^2 t^2).
    """
    t = np.linspace(0, duration_s, max(int(duration_s / 0.05), 64))
    u = (t / duration_s - 0.5) * 2
    bend = 0.35
    shift = -doppler_hz * u / np.hypot(u, bend) * np.hypot(1, bend)
    gain = _ramp(t, duration_s, duration_s / 5) / np.hypot(1, u / 0.7)
    return Arrival(start_s, t[1], gain.astype(np.complex64), shift)


def sporadic_e(start_s: float, duration_s: float, fading_hz: float, random: np.random.Generator) -> Arrival:
    """Return a reflection by a sporadic-E cloud: quick to come and go, part of it fading."""
    return _faded(start_s, duration_s, fading_hz, _SPORADIC_E_STEADY, min(5.0, duration_s / 6), random)


def ducting(start_s: float, duration_s: float, fading_hz: float, random: np.random.Generator) -> Arrival:
    """Return a duct: slow to come and go, a smaller part of it fading."""
    return _faded(start_s, duration_s, fading_hz, _DUCT_STEADY, duration_s / 4, random)


def lightning(start_s: float, duration_s: float, strokes: int, random: np.random.Generator) -> Arrival:
    """Return the amplitude of one flash's noise: strokes of about a millisecond on weak activity between them.

    Broad-band noise in strokes within some tenths of a second (common knowledge of very-high-frequency flash records).
    """
    step = 0.0002
    t = np.arange(0, duration_s + step, step)
    power = np.full(len(t), 0.003) * _ramp(t, duration_s, duration_s / 10)
    begins = np.concatenate([[0.1 * duration_s], random.uniform(0.1, 0.9, strokes - 1) * duration_s])
    for begin, strength in zip(begins, random.uniform(0.3, 1.0, strokes), strict=True):
        since = t - begin
        power += np.where(since >= 0, strength * np.exp(-np.maximum(since, 0) / 0.0015), 0)
    return Arrival(start_s, step, np.sqrt(power).astype(np.complex64))


def impulses(start_s: float, duration_s: float, rate_hz: float, random: np.random.Generator) -> Arrival:
    """Return the amplitude of crackle: impulses of 0.1 ms at random times."""
    step = 0.0001
    power = np.zeros(int(duration_s / step) + 2)
    places = random.integers(1, len(power) - 1, max(random.poisson(rate_hz * duration_s), 1))
    np.add.at(power, places, random.exponential(1.0, len(places)))
    return Arrival(start_s, step, np.sqrt(power).astype(np.complex64))


def _faded(
    start_s: float, duration_s: float, fading_hz: float, steady_share: float, ramp_s: float, random: np.random.Generator
) -> Arrival:
    step = min(1 / (16 * fading_hz), ramp_s / 16)
    t = np.arange(0, duration_s + step, step)
    scattered = fading(len(t), step, fading_hz, random)
    gain = np.sqrt(steady_share) + np.sqrt(1 - steady_share) * scattered
    return Arrival(start_s, step, (gain * _ramp(t, duration_s, ramp_s)).astype(np.complex64))


def fading(n: int, step_s: float, fading_hz: float, random: np.random.Generator) -> NDArray[np.complex128]:
    """Return ``n`` values of a complex Gaussian process of mean power 1 with a Gaussian Doppler spectrum.

    ``fading_hz`` is the spectrum's standard deviation; the level rises through its median 1.48 times that often (Rice,
    Bell Syst. Tech. J. 23, 1944).
    """
    padded = max(2 * n, 64)  # the process repeats after this many values
    frequency_hz = np.fft.fftfreq(padded, step_s)
    shape = np.exp(-((frequency_hz / fading_hz) ** 2) / 4)
    shape *= np.sqrt(padded / np.sum(shape**2))
    white = (random.standard_normal(padded) + 1j * random.standard_normal(padded)) / np.sqrt(2)
    return np.asarray(np.fft.ifft(np.fft.fft(white) * shape)[:n])


def _ramp(t: NDArray[np.float64], duration_s: float, ramp_s: float) -> NDArray[np.float64]:
    share = np.clip(np.minimum(t, duration_s - t) / ramp_s, 0, 1)
    return np.asarray((1 - np.cos(np.pi * share)) / 2)
