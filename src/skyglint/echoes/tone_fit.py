"""Frequency, drift and decay of a burst of a carrier, by maximum likelihood on its samples.

Model in white noise: a exp(i phi) (1 - exp(-t/rise)) exp(-t/decay + i 2 pi (f t + r t^2/2)) from its start on. The
complex amplitude is solved for exactly at every step (variable projection: Golub & Pereyra, SIAM J. Numer. Anal. 10,
413 (1973) [citation from memory]); the rest by damped Gauss-Newton steps. In Gaussian noise least squares is maximum
likelihood, and the inverse of the same matrix gives the standard errors (Rife & Boorstyn, IEEE Trans. IT-20, 591
(1974); Yao & Pandit, IEEE Trans. SP 43, 878 (1995)).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

_ITERATIONS = 60
_STEPS = np.array([1e-4, 1e-4, 1e-3, 1e-3, 1e-2])
_RATE_SD_HZ_S = 30.0  # trails drift with winds of tens of m/s; a head is told before and its rate taken out


@dataclass(frozen=True, slots=True)
class ToneFit:
    """A fitted decaying tone; times in seconds from the first sample.

    Attributes
    ----------
    decay_time_s, decay_time_sd_s, frequency_hz, frequency_sd_hz, rate_hz_s, rate_sd_hz_s
        Amplitude decay time; frequency at the energy's centre of time; its rate of change; standard errors.
    start_s
        Start of the rise.
    carrier_to_noise_hz
        Power at the start of the decay over the noise density.
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
    theta = np.array([np.log(decay_s), np.log(0.1 * decay_s + 1.0 / rate_hz), start_s, frequency_hz, 0.0])
    model = _Tone(z, t, centre)
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


class _Tone:
    def __init__(self, z: Complexes, t: Floats, centre: float) -> None:
        self._z, self._t, self._centre = z, t, centre
        span = t[-1]
        self._low = np.array([np.log(2.0 * t[0]), np.log(t[0]), -span, -1e5, -1e5])
        self._high = np.array([np.log(20.0), np.log(0.15), span, 1e5, 1e5])

    def bounded(self, theta: Floats) -> Floats:
        return np.asarray(np.clip(theta, self._low, self._high))

    def wave(self, theta: Floats) -> Complexes:
        """Return the tone of unit amplitude."""
        log_decay, log_rise, start, frequency, rate = theta
        since = np.maximum(self._t - start, 0.0)
        shape = -np.expm1(-since * np.exp(-log_rise)) * np.exp(-since * np.exp(-log_decay))
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
        return ToneFit(
            decay,
            float(decay * np.sqrt(covariance[0, 0])),
            float(theta[3]),
            float(np.sqrt(covariance[3, 3])),
            float(theta[4]),
            float(np.sqrt(covariance[4, 4])),
            float(theta[2]),
            abs(amplitude) ** 2 * rate_hz,
            energy,
        )
