"""Frequency, drift and decay of a burst of a carrier, by maximum likelihood on its samples.

Model in white noise: the echo of a trail that forms while the meteor crosses its Fresnel zone, each element decaying
from then on (the Cornu spiral of McKinley, "Meteor Science and Engineering" (1961) ch. 8, with the decay inside the
integral), times exp(i 2 pi (f t + r t^2/2)). A rise without the spiral's turning phase would be read as Doppler. The
complex amplitude is solved for exactly at every step (variable projection: Golub & Pereyra, SIAM J. Numer. Anal. 10,
413 (1973) [citation from memory]); the rest by damped Gauss-Newton steps. In Gaussian noise least squares is maximum
likelihood, and the inverse of the same matrix gives the standard errors (Rife & Boorstyn, IEEE Trans. IT-20, 591
(1974); Yao & Pandit, IEEE Trans. SP 43, 878 (1995)).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import wofz

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

_ITERATIONS = 60
_STEPS = np.array([1e-4, 1e-4, 1e-6, 1e-3, 1e-2])
_RATE_SD_HZ_S = 3.0  # what changing winds do to a trail's shift; a head's chirp is taken out before
_WHOLE_ZONES, _END_ZONES = 2.5, 4.0
_CROSSINGS_S = (0.005, 0.012, 0.025, 0.05, 0.1)
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
        White noise of unit variance and the tone, shape (n,).
    """
    z = samples.astype(np.complex128)
    t: Floats = np.arange(0.5, len(z), dtype=np.float64) / np.float64(rate_hz)
    centre = start_s + 0.5 * decay_s
    model = _Tone(z, t, centre)
    guesses = [
        np.array([np.log(decay_s), np.log(crossing), start_s + shift * crossing, frequency_hz, 0.0])
        for crossing in _CROSSINGS_S
        for shift in (-0.5, 0.0, 0.5, 1.0)
    ]
    theta = min((model.bounded(guess) for guess in guesses), key=model.cost)
    cost, damping = model.cost(theta), 1e-2
    for _ in range(_ITERATIONS):
        residual, jacobian = model.linearized(theta)
        curvature = jacobian.T @ jacobian
        scale = np.diag(np.diag(curvature) + 1e-9)
        step = np.linalg.solve(curvature + damping * scale, jacobian.T @ residual)
        trial = model.bounded(theta + np.clip(step, -_LIMITS * max(decay_s, 0.01), _LIMITS * max(decay_s, 0.01)))
        trial_cost = model.cost(trial)
        if trial_cost <= cost:
            done = cost - trial_cost < 1e-3  # one standard error is a change of 1
            theta, cost, damping = trial, trial_cost, max(damping / 5.0, 1e-9)
            if done:
                break
        else:
            damping *= 6.0
            if damping > 1e8:
                break
    return model.result(theta, rate_hz)


_LIMITS = np.array([50.0, 50.0, 1.0, 500.0, 1e4])


def forming_trail(time_s: Floats, crossing_s: float, decay_s: float) -> Complexes:
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
    """
    c = np.sqrt(1j * np.pi) / crossing_s
    u = c * time_s - 1.0 / (2.0 * c * decay_s)
    side = np.where(u.real >= 0, 1.0, -1.0)
    ratio = time_s / crossing_s
    near = np.abs(ratio) < _END_ZONES
    gain = np.where(side > 0, np.exp(-np.maximum(time_s, -decay_s) / decay_s + 1.0 / (2.0 * c * decay_s) ** 2), 0.0)
    beyond = np.clip((np.abs(ratio[near]) - _WHOLE_ZONES) / (_END_ZONES - _WHOLE_ZONES), 0.0, 1.0)
    fade = 0.5 + 0.5 * np.cos(np.pi * beyond)
    gain[near] -= 0.5 * side[near] * fade * np.exp(-1j * np.pi * ratio[near] ** 2) * wofz(1j * u[near] * side[near])
    return np.asarray(gain)


class _Tone:
    def __init__(self, z: Complexes, t: Floats, centre: float) -> None:
        self._z, self._t, self._centre = z, t, centre
        span = t[-1]
        self._low = np.array([np.log(2.0 * t[0]), np.log(0.2 * t[0]), -span, -1e5, -1e5])
        self._high = np.array([np.log(20.0), np.log(_LONGEST_CROSSING_S), span, 1e5, 1e5])

    def bounded(self, theta: Floats) -> Floats:
        return np.asarray(np.clip(theta, self._low, self._high))

    def wave(self, theta: Floats) -> Complexes:
        """Return the tone of unit amplitude."""
        log_decay, log_crossing, start, frequency, rate = theta
        shape = forming_trail(self._t - start, float(np.exp(log_crossing)), float(np.exp(log_decay)))
        ahead = self._t - self._centre
        return np.asarray(shape * np.exp(2j * np.pi * (frequency * ahead + 0.5 * rate * ahead**2)))

    def amplitude(self, wave: Complexes) -> complex:
        size = float(np.vdot(wave, wave).real)
        return complex(np.vdot(wave, self._z) / size) if size > 0 else 0j

    def cost(self, theta: Floats) -> float:
        wave = self.wave(theta)
        size = max(float(np.vdot(wave, wave).real), 1e-12)
        return float(-(abs(np.vdot(wave, self._z)) ** 2) / size + (theta[4] / _RATE_SD_HZ_S) ** 2 / 2)

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
        prior = np.array([[0.0, 0.0, 0.0, 0.0, np.sqrt(0.5) / _RATE_SD_HZ_S]])
        stacked = np.concatenate([jacobian.real, jacobian.imag, prior])
        return np.concatenate([residual.real, residual.imag, [-theta[4] * prior[0, 4]]]), stacked

    def result(self, theta: Floats, rate_hz: float) -> ToneFit | None:
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
            float(theta[3] + moment * theta[4]),
            float(np.sqrt(variance)),
            float(theta[4]),
            float(np.sqrt(covariance[4, 4])),
            float(theta[2]),
            float(np.square(np.abs(amplitude * wave)).max() * rate_hz),
            energy,
        )
