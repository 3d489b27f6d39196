"""The decay time of an underdense echo from its power frames, by maximum likelihood.

Frame powers over the floor are gamma distributed about 1 + signal (Urkowitz, Proc. IEEE 55, 523 (1967), for Gaussian
signals); the signal rises while the trail crosses its Fresnel zone and then falls as exp(-2 t / decay time). The
floor's own error enters as a fifth unknown with a prior.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_ITERATIONS = 40
_LONGEST_RISE_S = 0.15  # crossing a Fresnel zone of 1 to 5 km at 20 to 70 km/s, half of it


@dataclass(frozen=True, slots=True)
class Decay:
    """A fitted exponential burst.

    Attributes
    ----------
    decay_time_s, decay_time_sd_s
        Time in which the amplitude falls to 1/e, and its standard error (scaled up where the fit is poor).
    start_s, start_sd_s
        Start of the rise from the start of the first frame.
    rise_s
        Length of the rise.
    peak_snr
        Power over the floor at the start of the decay, were there no rise, linear.
    misfit
        Squared residuals over their expectation, per degree of freedom: 1 for a perfect model.
    scatter
        Root mean square of the relative residuals beyond what noise explains, where the signal stands over 0.3 of the
        floor; NaN where it never does.
    freedom
        Degrees of freedom of ``misfit``.
    """

    decay_time_s: float
    decay_time_sd_s: float
    start_s: float
    start_sd_s: float
    rise_s: float
    peak_snr: float
    misfit: float
    scatter: float
    freedom: int = 1


def burst_shape(n_frames: int, frame_s: float, start_s: float, rise_s: float, decay_time_s: float) -> Floats:
    """Return the mean power in each frame of a burst of unit strength: a rise, then an exponential decay.

    The onset is spread evenly over ``rise_s``; each part decays as exp(-2 t / decay_time_s) from its own onset.
    """
    rate = 2.0 / decay_time_s
    ends = (np.arange(n_frames, dtype=np.float64) + 1.0) * frame_s - start_s
    parts = _twice_integrated(ends, rate) - _twice_integrated(ends - rise_s, rate)
    parts += _twice_integrated(ends - (rise_s + frame_s), rate) - _twice_integrated(ends - frame_s, rate)
    return np.asarray(np.maximum(parts / (rise_s * frame_s), 0.0))


def _twice_integrated(time: Floats, rate: float) -> Floats:
    """Return the double integral of exp(-rate t) from 0, zero before."""
    late = np.maximum(time, 0.0)
    x = rate * late
    # Series where rate * time is small: the difference below would lose all its digits.
    small = late * late * (0.5 - x / 6.0 + x * x / 24.0)
    return np.asarray(np.where(x < 1e-3, small, (late + np.expm1(-x) / rate) / rate))


def fit_decay(
    power: Floats, frame_s: float, samples_per_frame: float, floor_sd: float, peak_frame: int
) -> Decay | None:
    """Fit a rise and an exponential decay to frame powers; return None where nothing can be fitted.

    Parameters
    ----------
    power
        Frame powers over the floor (noise alone is 1), from before the burst to after it, shape (n_frames,).
    samples_per_frame
        Independent samples behind a frame.
    floor_sd
        Relative standard error of the floor.
    peak_frame
        Where the burst is strongest.
    """
    if len(power) < 6 or power[peak_frame] <= 1.0:
        return None
    theta = _first_guess(power, frame_s, peak_frame)
    fit = _Fit(power, frame_s, samples_per_frame, floor_sd)
    damping, cost = 1e-2, fit.deviance(theta)
    residual, jacobian = fit.linearized(theta)
    for _ in range(_ITERATIONS):
        curvature = jacobian.T @ jacobian
        scale = np.diag(np.diag(curvature) + 1e-12)
        step = np.linalg.solve(curvature + damping * scale, jacobian.T @ residual)
        trial = fit.bounded(theta + np.clip(step, -1.0, 1.0))
        trial_cost = fit.deviance(trial)
        if trial_cost > cost:
            damping *= 8.0
            if damping > 1e6:
                break
            continue
        gained, theta, cost = cost - trial_cost, trial, trial_cost
        residual, jacobian = fit.linearized(theta)
        damping = max(damping / 5.0, 1e-9)
        if gained < 1e-3:  # far below the change of 1 that makes one standard error
            break
    return fit.result(theta, residual, jacobian)


def _first_guess(power: Floats, frame_s: float, peak_frame: int) -> Floats:
    peak = max(power[peak_frame] - 1.0, 1e-3)
    energy = max(float((power[peak_frame:] - 1.0).sum()), peak)
    decay = np.clip(2.0 * energy / peak * frame_s, frame_s, 30.0)
    return np.array([np.log(peak), np.log(decay), float(peak_frame) - 0.5, np.log(frame_s), 1.0])


class _Fit:
    """Power frames and the model of five unknowns: log strength, log decay, start in frames, log rise, floor."""

    def __init__(self, power: Floats, frame_s: float, samples: float, floor_sd: float) -> None:
        self._power, self._frame_s, self._samples, self._floor_sd = power, frame_s, samples, floor_sd
        n = len(power)
        self._low = np.array([-9.0, np.log(0.3 * frame_s), -20.0, np.log(0.1 * frame_s), 0.8])
        self._high = np.array([25.0, np.log(60.0), float(n), np.log(_LONGEST_RISE_S), 1.25])

    def bounded(self, theta: Floats) -> Floats:
        return np.asarray(np.clip(theta, self._low, self._high))

    def signal(self, theta: Floats) -> Floats:
        strength, decay, start, rise, _ = theta
        shape = burst_shape(len(self._power), self._frame_s, start * self._frame_s, np.exp(rise), np.exp(decay))
        return np.asarray(np.exp(strength) * shape)

    def deviance(self, theta: Floats) -> float:
        ratio = self._power / (theta[4] + self.signal(theta))
        prior = ((theta[4] - 1.0) / self._floor_sd) ** 2
        return float(2.0 * self._samples * (ratio - 1.0 - np.log(ratio)).sum() + prior)

    def linearized(self, theta: Floats) -> tuple[Floats, Floats]:
        """Return residuals in units of their standard deviation and the model's derivatives in the same units."""
        signal = self.signal(theta)
        mean = theta[4] + signal
        weight = np.sqrt(self._samples) / mean
        jacobian = np.zeros((len(mean) + 1, 5))
        jacobian[:-1, 0] = signal
        jacobian[:-1, 4] = 1.0
        for index in (1, 2, 3):
            trial = theta.copy()
            trial[index] += 1e-5
            jacobian[:-1, index] = (self.signal(trial) - signal) / 1e-5
        jacobian[:-1] *= weight[:, None]
        jacobian[-1, 4] = 1.0 / self._floor_sd
        return np.append((self._power - mean) * weight, (1.0 - theta[4]) / self._floor_sd), jacobian

    def result(self, theta: Floats, residual: Floats, jacobian: Floats) -> Decay:
        covariance = np.linalg.pinv(jacobian.T @ jacobian, rcond=1e-12, hermitian=True)
        freedom = max(len(self._power) - 4, 1)
        misfit = float(residual[:-1] @ residual[:-1]) / freedom
        signal = self.signal(theta)
        mean = theta[4] + signal
        loud = signal > 0.3
        residuals = np.square(self._power[loud] / mean[loud] - 1.0)
        excess = residuals.mean() - 1.0 / self._samples if loud.any() else np.nan
        poor = np.sqrt(max(misfit, 1.0))
        decay = float(np.exp(theta[1]))
        return Decay(
            decay,
            float(decay * np.sqrt(covariance[1, 1]) * poor),
            float(theta[2] * self._frame_s),
            float(np.sqrt(covariance[2, 2]) * self._frame_s * poor),
            float(np.exp(theta[3])),
            float(np.exp(theta[0])),
            misfit,
            float(np.sqrt(np.maximum(excess, 0.0))),
            freedom,
        )
