"""The running floor: every channel's power without echoes, how fast it drifts, and how well that is known.

A step (half a second of frames) gives one robust level. A small bank of Kalman filters, from a very quiet receiver to
a lively one, follows the level and its slope; their mixture, weighted by how well each predicted the last minutes, is
the floor. A step that jumps up is held to be a burst and left out, until it has lasted longer than any echo; then the
floor follows. The prediction for a step uses earlier steps only, so it is the same live and afterwards.

Local linear trend: Harvey, "Forecasting, Structural Time Series Models and the Kalman Filter" (1989), ch. 2; mixture of
models: Bar-Shalom, Li & Kirubarajan, "Estimation with Applications to Tracking and Navigation" (2001), sec. 11.6 (both
citations from memory).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainc, gammaincinv

Floats = NDArray[np.float64]

#: Wander of level and slope in one step of 0.5 s, one row for each filter of the bank, relative (natural logarithm).
#: From a receiver steadier than the measurement to ducting that moves by a decibel in ten seconds. Where wander shows
#: against the noise neighbours differ by less than two: a filter that allows for half of the wander makes thresholds
#: half as high as they should be.
LEVEL_WANDER = np.array([1e-5, 1e-4, 6e-4, 1.1e-3, 2e-3, 3.5e-3, 6e-3])
SLOPE_WANDER = np.array([1e-8, 1e-6, 1e-5, 3e-5, 8e-5, 2e-4, 4e-4])
#: Natural logarithm of each filter's prior weight: most receivers are steady most of the time.
_PRIOR = np.where(LEVEL_WANDER > 3e-4, -2.0, 0.0)
STEP_S = 0.5

_SLOPE_MEMORY_S = 30.0  # an extrapolated slope dies away: what rose for a minute does not rise for an hour
_JUDGEMENT_MEMORY_S = 60.0  # over which the filters' predictions are compared
_GATE_SIGMAS = 4.0
_JUMP = 0.03  # 0.13 dB in half a second: no ducting or gain drift moves as fast, most echoes do
_BURST_DENSITY = 1.0  # a step in twenty holds a weak burst, spread over a fifth of a decibel
_SLOPE_START = 30.0  # variance of a slope not yet seen, in steps of its wander
_REWIND_STEPS = 90
_HOLD_UP_S = 30.0  # the longest echo
_HOLD_DOWN_S = 3.0  # a floor that falls was too high: only a dropout is waited for


@lru_cache(maxsize=256)
def midmean_bias(shape: float) -> float:
    """Return the mean of the middle half of a gamma distribution over its mean, for a shape parameter.

    Examples
    --------
    >>> round(midmean_bias(1e6), 6)
    1.0
    """
    low, high = gammaincinv(shape, np.array([0.25, 0.75]))
    below = gammainc(shape + 1, np.array([low, high]))
    return float((below[1] - below[0]) / 0.5)


def step_level(power: Floats, samples_per_frame: Floats) -> Floats:
    """Return the robust mean power of each step: the mean of the middle half of its frames, without bias on noise.

    Parameters
    ----------
    power
        Frame powers, shape (n_channels, n_steps, n_frames).
    samples_per_frame
        Independent samples behind a frame of each channel, shape (n_channels,).

    Returns
    -------
    Shape (n_channels, n_steps). Its relative variance on noise is `MIDMEAN_VARIANCE` / (n_frames * samples_per_frame).
    """
    n = power.shape[-1]
    cut = n // 4
    ordered = np.sort(power, axis=-1)
    middle = ordered[..., cut : n - cut].mean(axis=-1)
    bias = np.array([midmean_bias(float(shape)) for shape in samples_per_frame])
    return np.asarray(middle / bias[:, None])


#: Variance of the midmean over that of the mean, Gaussian data (Huber, "Robust Statistics" (1981), table 1.3.1 [from
#: memory]; also obtained by simulation in the tests).
MIDMEAN_VARIANCE = 1.195


@dataclass(frozen=True, slots=True)
class FloorState:
    """The floor predicted for one step from the steps before it; each field has shape (n_channels,).

    Attributes
    ----------
    log_level
        Natural logarithm of the power at the step's middle.
    slope
        Its change in one step.
    variance
        Of ``log_level``.
    slope_variance
        Of ``slope``.
    wander
        Variance that the level gains in each further step.
    """

    log_level: Floats
    slope: Floats
    variance: Floats
    slope_variance: Floats
    wander: Floats

    def part(self, channels: slice) -> FloorState:
        """Return the state of some of the channels."""
        return FloorState(
            self.log_level[channels],
            self.slope[channels],
            self.variance[channels],
            self.slope_variance[channels],
            self.wander[channels],
        )


class FloorTracker:
    """The floor of several channels, step by step.

    Parameters
    ----------
    log_level
        First estimate of each channel's level (natural logarithm), shape (n_channels,).
    log_level_sd
        Its standard error.
    reading_variance
        Relative variance of one step's level on noise, shape (n_channels,).
    """

    def __init__(self, log_level: Floats, log_level_sd: float, reading_variance: Floats) -> None:
        n_channels = len(log_level)
        self._reading = np.array(reading_variance, dtype=np.float64)
        self._damping = np.exp(-STEP_S / _SLOPE_MEMORY_S)
        self._forget = np.exp(-STEP_S / _JUDGEMENT_MEMORY_S)
        self._level_q = (LEVEL_WANDER**2)[:, None]
        self._slope_q = (SLOPE_WANDER**2)[:, None]
        # Level, slope, their variances and covariance, and how well the filter has predicted; the rows are views.
        self._filters = np.zeros((6, len(LEVEL_WANDER), n_channels))
        self._name_rows()
        self._level[:] = log_level
        self._p_level[:] = log_level_sd**2
        self._p_slope[:] = self._slope_q * _SLOPE_START
        self._past: deque[tuple[Floats, Floats]] = deque(maxlen=_REWIND_STEPS)
        self._held = np.zeros(n_channels, dtype=np.int64)  # steps left out: positive upward, negative downward
        self._recent = np.zeros((6, n_channels))  # the last levels measured
        self._last = np.full(n_channels, np.nan)  # the last step's level, if it was used

    def _name_rows(self) -> None:
        self._level, self._slope, self._p_level, self._p_cross, self._p_slope, self._evidence = self._filters

    def predict(self) -> FloorState:
        """Return the floor expected for the next step."""
        share = self._shares()
        level = (share * self._level).sum(axis=0)
        slope = (share * self._slope).sum(axis=0)
        variance = (share * (self._p_level + (self._level - level) ** 2)).sum(axis=0)
        slope_variance = (share * (self._p_slope + (self._slope - slope) ** 2)).sum(axis=0)
        return FloorState(level, slope, variance, slope_variance, (share * self._level_q).sum(axis=0))

    def update(self, log_level: Floats) -> NDArray[np.bool_]:
        """Take in one step's measured levels and move on; return where they were used (not held to be a burst).

        A level of minus infinity or NaN (no power at all) is left out for good.
        """
        self._past.append((self._filters.copy(), log_level))
        state = self.predict()
        innovation = log_level - state.log_level
        gate = np.maximum(_GATE_SIGMAS * np.sqrt(state.variance + self._reading), _JUMP)
        used = (np.abs(innovation) <= gate) | (np.abs(log_level - self._last) <= _JUMP)
        self._last = np.where(used, log_level, np.nan)
        self._take(np.where(used, log_level, state.log_level), used)
        self._hold(log_level, innovation, used)
        self._advance()
        return np.asarray(used)

    def rewind(self, channel: int, start: int, stop: int) -> None:
        """Forget what a channel's steps ``start`` to ``stop`` (half open) taught: they held a burst.

        Steps are counted back from the next one, which is 0: the last step is ``start=1, stop=0``. Done only if the
        level has come back to where it was expected without them; else it was the floor that moved.
        """
        if start > len(self._past) or stop >= start:
            return
        filters, _ = self._past[-start]
        replay = FloorTracker(np.zeros(1), 1.0, self._reading[channel : channel + 1])
        replay._filters = filters[..., channel : channel + 1].copy()
        replay._name_rows()
        after = []
        for step in range(start, 0, -1):
            level = self._past[-step][1][channel]
            if step <= stop:
                state = replay.predict()
                after.append((level - state.log_level[0]) / np.sqrt(state.variance[0] + self._reading[channel]))
            replay.update(np.array([np.nan if step > stop else level]))
        if after and abs(np.mean(after)) * np.sqrt(len(after)) < _GATE_SIGMAS:
            self._filters[..., channel] = replay._filters[..., 0]

    def set_reading_variance(self, reading_variance: Floats) -> None:
        """Replace the relative variance of one step's level."""
        self._reading = np.array(reading_variance, dtype=np.float64)

    def _shares(self) -> Floats:
        evidence = self._evidence + _PRIOR[:, None]
        share = np.exp(evidence - evidence.max(axis=0))
        share = np.maximum(share, 1e-6)
        return np.asarray(share / share.sum(axis=0))

    def _take(self, log_level: Floats, used: NDArray[np.bool_]) -> None:
        spread = self._p_level + self._reading
        error = log_level - self._level
        clean = np.exp(-0.5 * error**2 / spread) / np.sqrt(2.0 * np.pi * spread)
        burst = np.where(error > 0, _BURST_DENSITY, 1e-3 * _BURST_DENSITY)
        trust = used * clean / (clean + burst)
        gain_level, gain_slope = trust * self._p_level / spread, trust * self._p_cross / spread
        self._level += gain_level * error
        self._slope += gain_slope * error
        self._p_slope -= gain_slope * self._p_cross
        self._p_cross -= gain_level * self._p_cross
        self._p_level -= gain_level * self._p_level
        self._evidence *= np.where(used, self._forget, 1.0)
        self._evidence += used * np.log(clean + burst)

    def _hold(self, log_level: Floats, innovation: Floats, used: NDArray[np.bool_]) -> None:
        sign = np.where(innovation > 0, 1, -1)
        same = np.sign(self._held) == sign
        self._held = np.where(used | ~np.isfinite(log_level), 0, np.where(same, self._held + sign, sign))
        self._recent = np.roll(self._recent, 1, axis=0)
        self._recent[0] = log_level
        follow = (self._held >= _HOLD_UP_S / STEP_S) | (self._held <= -_HOLD_DOWN_S / STEP_S)
        if follow.any():
            self._level[:, follow] = np.median(self._recent[:, follow], axis=0)
            self._slope[:, follow] = 0.0
            self._p_level[:, follow] = self._reading[follow] + 0.01**2
            self._p_cross[:, follow] = 0.0
            self._p_slope[:, follow] = self._slope_q * _SLOPE_START
            self._held[follow] = 0

    def _advance(self) -> None:
        self._level += self._slope
        self._slope *= self._damping
        self._p_level += 2.0 * self._p_cross + self._p_slope + self._level_q
        # In place: the rows are views of the filters, which a rewind copies and puts back.
        self._p_cross[:] = (self._p_cross + self._p_slope) * self._damping
        self._p_slope[:] = self._p_slope * self._damping**2 + self._slope_q


def quiet_steps(log_level: Floats, reading_sd: float) -> NDArray[np.bool_]:
    """Return which of the first steps of one channel show its floor, though a burst may fill most of them.

    The lowest level that a quarter of the steps share is the floor's; what stands higher by more than a floor moves is
    a burst, what stands lower a dropout. On noise alone, or with a gain that wanders a little, all steps stay.

    Parameters
    ----------
    log_level
        Natural logarithm of the robust level of each step, shape (n_steps,).
    reading_sd
        Its standard deviation on noise.

    Examples
    --------
    >>> quiet_steps(np.array([0.0, 0.01, 1.2, 1.3, 1.1, 1.2, 0.01, -60.0]), 0.005).astype(int)
    array([1, 1, 0, 0, 0, 0, 1, 0])
    """
    reach = max(_JUMP, _GATE_SIGMAS * reading_sd)
    ordered = np.sort(log_level)
    least = max(-(-len(ordered) // 4), min(2, len(ordered)))
    width = ordered[least - 1 :] - ordered[: len(ordered) - least + 1]
    together = np.flatnonzero(width <= reach)
    # No quarter agrees: a floor that fades. Then the closest quarter serves as well as any.
    first = int(together[0]) if len(together) else int(np.argmin(width))
    low, high = ordered[first], ordered[first + least - 1]
    return np.asarray((log_level >= low - reach) & (log_level <= high + reach))


class BinFloor:
    """The noise in each bin of one channel: a slow mean over the quiet steps.

    Parameters
    ----------
    step_spectra
        Mean bin powers of the first quiet steps, shape (n_steps, n_bins); their median is the start.
    memory_s
        Seconds over which the mean is taken.
    """

    def __init__(self, step_spectra: Floats, memory_s: float = 240.0) -> None:
        self.power: Floats = np.median(step_spectra, axis=0)
        self._steps = float(len(step_spectra))
        self._memory = memory_s / STEP_S

    def update(self, step_spectrum: Floats, log_gain: float) -> None:
        """Take in a quiet step's mean bin powers; ``log_gain`` is the floor's change since the start, taken out."""
        self._steps = min(self._steps + 1.0, self._memory)
        self.power = self.power + (step_spectrum * np.exp(-log_gain) - self.power) / self._steps
