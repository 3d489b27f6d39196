"""Frequency, drift and decay of a burst of a carrier, by maximum likelihood on its samples.

Model in white noise: the echo of a trail that forms while the meteor crosses its Fresnel zone, each element decaying
from then on (the Cornu spiral of McKinley, "Meteor Science and Engineering" (1961) ch. 8, with the decay inside the
integral), times exp(i 2 pi (f t + r t^2/2)). A rise without the spiral's turning phase would be read as Doppler; so
would the small step of phase where a real trail ends, which is allowed for as an unknown of a hundredth. The
complex amplitude is solved for exactly at every step (variable projection: Golub & Pereyra, SIAM J. Numer. Anal. 10,
413 (1973) [citation from memory]); the rest by damped Gauss-Newton steps. In Gaussian noise least squares is maximum
likelihood, and the inverse of the same matrix gives the standard errors (Rife & Boorstyn, IEEE Trans. IT-20, 591
(1974); Yao & Pandit, IEEE Trans. SP 43, 878 (1995)).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft, ifft, next_fast_len
from scipy.special import wofz

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

_ITERATIONS = 60
_STEPS = np.array([1e-4, 1e-4, 1e-6, 1e-3, 1e-2, 1e-4, 1e-4])
_END_SD = 0.01  # of the amplitude: a trail that ends r = 2 to 4 half zones on adds about 1 / (2 pi^2 r^2)
_RATE_SD_HZ_S = 3.0  # what changing winds do to a trail's shift; a head's chirp is taken out before
_ZONES = 2.5, 4.0  # half zones to which the trail's end turns the phase fully, and where it is left out
_FIRST_ZONES = 0.5, 1.5  # for the first descent: a trail without ripples has no wrong minimum
_CROSSINGS_S = (0.005, 0.008, 0.012, 0.018, 0.027, 0.04, 0.06, 0.1)
_SHIFTS = (-0.6, -0.3, 0.0, 0.3, 0.6, 0.9)
_FORMED_S = 0.03  # after the meteor's passing
_FINE_S = 0.2  # about the passing every sample counts; elsewhere so many in a decay time are enough, or so many in all
_PER_DECAY, _MOST_GROUPS = 25.0, 400
_LONGEST_CROSSING_S = 0.15  # of half a Fresnel zone of 1 to 5 km at 20 to 70 km/s


@dataclass(frozen=True, slots=True)
class ToneFit:
    """A fitted decaying tone; times in seconds from the first sample.

    Attributes
    ----------
    decay_time_s, decay_time_sd_s, frequency_hz, frequency_sd_hz, rate_hz_s, rate_sd_hz_s
        Amplitude decay time; frequency at the moment when it is known best; its rate of change; standard errors.
    start_s
        When the meteor passed the specular point.
    carrier_to_noise_hz
        Highest power over the noise density.
    explained
        Energy of the fitted tone over the noise density, E/N0.
    """

    decay_time_s: float
    decay_time_sd_s: float
    frequency_hz: float
    frequency_sd_hz: float
    rate_hz_s: float
    rate_sd_hz_s: float
    start_s: float
    carrier_to_noise_hz: float
    explained: float


def fit_tone(
    samples: NDArray[np.complex64], rate_hz: float, start_s: float, decay_s: float, frequency_hz: float
) -> ToneFit | None:
    """Fit a decaying tone from a first guess; None where it cannot be fitted.

    Parameters
    ----------
    samples
        White noise of unit variance and the tone, shape (n,), about one for each millisecond.
    """
    z = samples * np.exp(-2j * np.pi * frequency_hz / rate_hz * np.arange(0.5, len(samples)))
    start_s = _onset(z, rate_hz, start_s, decay_s)
    decay, shift_hz = _tail(z, rate_hz, start_s, decay_s)
    z *= np.exp(-2j * np.pi * shift_hz / rate_hz * np.arange(0.5, len(z)))
    start_s = _onset(z, rate_hz, start_s, decay)
    model = _Tone(*_thinned(z, rate_hz, start_s, decay), start_s + 0.5 * decay)
    guesses = [
        np.array([np.log(decay), np.log(crossing), start_s + shift * crossing, 0.0, 0.0, 0.0, 0.0])
        for crossing in _CROSSINGS_S
        for shift in _SHIFTS
    ]
    theta = min((model.bounded(guess) for guess in guesses), key=model.cost)
    theta = _descended(model, theta, max(decay, 0.01))
    model.zones = _ZONES
    return model.result(_descended(model, theta, max(decay, 0.01)), frequency_hz + shift_hz)


def _onset(z: Complexes, rate_hz: float, start_s: float, decay_s: float) -> float:
    """Return where a sharp exponential explains most, within a decay time of a first guess."""
    low, high = (int(np.clip(round((start_s + side * decay_s) * rate_hz), 0, len(z) - 1)) for side in (-1.0, 1.0))
    window = np.exp(-np.arange(round(3.0 * decay_s * rate_hz) + 1) / (decay_s * rate_hz))
    part = z[low : high + len(window)]
    length = next_fast_len(len(part) + len(window))
    sums = ifft(fft(part, length) * fft(window, length).conj())[: high - low + 1]
    return float(low + np.argmax(np.abs(sums))) / rate_hz


def _tail(z: Complexes, rate_hz: float, start_s: float, decay_s: float) -> tuple[float, float]:
    """Return decay time and frequency, predicted from sample to sample after the trail has formed.

    The product of two samples d apart has the mean exp(-d/tau + i 2 pi f d) times the power: linear prediction of one
    pole (Kumaresan & Tufts, IEEE Trans. ASSP 30, 833 (1982) [citation from memory]).
    """
    lag = max(round(0.5 * decay_s * rate_hz), 1)
    first = max(round((start_s + max(0.1 * decay_s, _FORMED_S)) * rate_hz), 0)
    n = max(round(1.5 * decay_s * rate_hz), 1)
    early, late = z[first:-lag][:n], z[first + lag :][:n]
    product = complex(np.vdot(early, late))
    power = float(np.vdot(early, early).real) - len(early)
    if not 0.0 < abs(product) < power:
        return decay_s, 0.0
    decay = lag / rate_hz / np.log(power / abs(product))
    return float(np.clip(decay, decay_s / 3.0, decay_s * 3.0)), float(np.angle(product)) * rate_hz / (2.0 * np.pi * lag)


def _thinned(z: Complexes, rate_hz: float, start_s: float, decay_s: float) -> tuple[Complexes, Floats, Floats]:
    """Return samples, their times and their lengths: all of them while the trail forms, sums of some elsewhere."""
    n = len(z)
    low, high = (int(np.clip(round((start_s + margin) * rate_hz), 0, n)) for margin in (-_FINE_S, _FINE_S))
    group = max(round(decay_s * rate_hz / _PER_DECAY), (n - high + low) // _MOST_GROUPS, 1)
    edges = np.concatenate([np.arange(0, low, group), np.arange(low, high), np.arange(high, n, group)])
    count = np.diff(np.append(edges, n))
    sums: Complexes = np.add.reduceat(z, edges)
    return sums / np.sqrt(count), (edges + 0.5 * count) / rate_hz, count / rate_hz


def _descended(model: _Tone, theta: Floats, scale_s: float) -> Floats:
    """Return where damped Gauss-Newton steps lead (Levenberg & Marquardt)."""
    cost, damping = model.cost(theta), 1e-2
    limits = _LIMITS * scale_s
    for _ in range(_ITERATIONS):
        residual, jacobian = model.linearized(theta)
        curvature, slope = jacobian.T @ jacobian, jacobian.T @ residual
        while True:
            step = np.linalg.solve(curvature + damping * np.diag(np.diag(curvature) + 1e-9), slope)
            trial = model.bounded(theta + np.clip(step, -limits, limits))
            trial_cost = model.cost(trial)
            if trial_cost <= cost or damping > 1e8:
                break
            damping *= 6.0
        if trial_cost > cost:
            break
        done = cost - trial_cost < 1e-3 and damping < 0.1  # one standard error is a change of 1
        theta, cost, damping = trial, trial_cost, max(damping / 5.0, 1e-9)
        if done:
            break
    return theta


_LIMITS = np.array([50.0, 50.0, 1.0, 500.0, 1e4, 10.0, 10.0])


def forming_trail(
    time_s: Floats,
    crossing_s: float,
    decay_s: float,
    widths_s: Floats | float = 0.0,
    zones: tuple[float, float] = _ZONES,
) -> Complexes:
    """Return the complex gain of a trail that forms and decays.

    It is the integral up to t of exp(-i pi (t'/T)^2 - (t - t')/tau) dt' in units of T sqrt(1/i). In closed form, with
    the Faddeeva function w, c = sqrt(i pi)/T and u = c t - 1/(2 c tau), it is exp(-t/tau + 1/(2 c tau)^2) after the
    meteor's passing, plus the end of the trail, -sign(t)/2 exp(-i pi (t/T)^2) w(i u sign(t)). That part turns ever
    faster; it fades out four half zones from the specular point, where samples no longer follow it.

    Parameters
    ----------
    time_s
        From the meteor's passing of the specular point, shape (n,).
    crossing_s
        T, the time through half a Fresnel zone.
    decay_s
        tau, the amplitude's decay time.
    widths_s
        Time over which each value is averaged: what turns within it fades.
    zones
        Half zones from the specular point between which the end of the trail fades out.
    """
    c = np.sqrt(1j * np.pi) / crossing_s
    u = c * time_s - 1.0 / (2.0 * c * decay_s)
    side = np.where(u.real >= 0, 1.0, -1.0)
    ratio = time_s / crossing_s
    near = np.abs(ratio) < zones[1]
    gain = np.where(side > 0, np.exp(-np.maximum(time_s, -decay_s) / decay_s + 1.0 / (2.0 * c * decay_s) ** 2), 0.0)
    beyond = np.clip((np.abs(ratio[near]) - zones[0]) / (zones[1] - zones[0]), 0.0, 1.0)
    fade = (0.5 + 0.5 * np.cos(np.pi * beyond)) * np.sinc(ratio * widths_s / crossing_s)[near]
    gain[near] -= 0.5 * side[near] * fade * np.exp(-1j * np.pi * ratio[near] ** 2) * wofz(1j * u[near] * side[near])
    return np.asarray(gain)


_PRIOR_SD = np.array([_RATE_SD_HZ_S, _END_SD, _END_SD])


def _later(zones: Floats) -> Floats:
    """Return how much of a trail's end lies behind, 0 to 1, by the half zones since the meteor's passing."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip((zones - _ZONES[0]) / (_ZONES[1] - _ZONES[0]), 0.0, 1.0)))


class _Tone:
    def __init__(self, z: Complexes, t: Floats, widths: Floats, centre: float) -> None:
        self._z, self._t, self._widths, self._centre = z, t, widths, centre
        self._root = np.sqrt(widths)
        self.zones = _FIRST_ZONES
        span, least = float(t[-1]), float(widths.min())
        self._low = np.array([np.log(least), np.log(0.1 * least), -span, -1e5, -1e5, -0.3, -0.3])
        self._high = np.array([np.log(20.0), np.log(_LONGEST_CROSSING_S), span, 1e5, 1e5, 0.3, 0.3])

    def bounded(self, theta: Floats) -> Floats:
        return np.asarray(np.clip(theta, self._low, self._high))

    def wave(self, theta: Floats) -> Complexes:
        """Return the tone of unit amplitude."""
        log_decay, log_crossing, start, frequency, rate, in_phase, quadrature = theta
        crossing, decay = float(np.exp(log_crossing)), float(np.exp(log_decay))
        shape = forming_trail(self._t - start, crossing, decay, self._widths, self.zones)
        shape = shape * (1.0 + complex(in_phase, quadrature) * _later((self._t - start) / crossing))
        ahead = self._t - self._centre
        turned = np.exp(2j * np.pi * (frequency * ahead + 0.5 * rate * ahead**2))
        return np.asarray(self._root * shape * turned * np.sinc(frequency * self._widths))

    def amplitude(self, wave: Complexes) -> complex:
        size = float(np.vdot(wave, wave).real)
        return complex(np.vdot(wave, self._z) / size) if size > 0 else 0j

    def cost(self, theta: Floats) -> float:
        wave = self.wave(theta)
        size = max(float(np.vdot(wave, wave).real), 1e-12)
        return float(-(abs(np.vdot(wave, self._z)) ** 2) / size + np.square(theta[4:] / _PRIOR_SD).sum() / 2)

    def linearized(self, theta: Floats) -> tuple[Floats, Floats]:
        """Return residuals and derivatives, real and imaginary parts as rows, the amplitude projected out."""
        wave = self.wave(theta)
        size = max(float(np.vdot(wave, wave).real), 1e-12)
        amplitude = self.amplitude(wave)
        residual = self._z - amplitude * wave
        columns = []
        for index, small in enumerate(_STEPS):
            moved = theta.copy()
            moved[index] += small
            change = amplitude * (self.wave(moved) - wave) / small
            columns.append(change - wave * (np.vdot(wave, change) / size))
        jacobian = np.stack(columns, axis=1)
        prior = np.eye(3, 7, 4) * np.sqrt(0.5) / _PRIOR_SD[:, None]
        stacked = np.concatenate([jacobian.real, jacobian.imag, prior])
        return np.concatenate([residual.real, residual.imag, -prior @ theta]), stacked

    def result(self, theta: Floats, frequency_hz: float) -> ToneFit | None:
        _, jacobian = self.linearized(theta)
        # Unit complex variance is one half in each part.
        covariance = 0.5 * np.linalg.pinv(jacobian.T @ jacobian, rcond=1e-14, hermitian=True)
        wave = self.wave(theta)
        amplitude = self.amplitude(wave)
        decay = float(np.exp(theta[0]))
        if not np.isfinite(covariance).all():
            return None
        energy = abs(amplitude) ** 2 * float(np.vdot(wave, wave).real)
        # The frequency is known best at one moment, where its error has nothing to do with the rate's.
        moment = -covariance[3, 4] / covariance[4, 4] if covariance[4, 4] > 0 else 0.0
        variance = max(covariance[3, 3] + moment * covariance[3, 4], 0.0)
        return ToneFit(
            decay,
            float(decay * np.sqrt(covariance[0, 0])),
            float(frequency_hz + theta[3] + moment * theta[4]),
            float(np.sqrt(variance)),
            float(theta[4]),
            float(np.sqrt(covariance[4, 4])),
            float(theta[2]),
            float(np.square(np.abs(amplitude * wave) / self._root).max()),
            energy,
        )
