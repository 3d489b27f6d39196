"""Is there a source along a predicted frequency curve? A search over small offsets, and how often chance does as well.

The powers of a straightened spectrogram are summed along the curve moved by a time offset, a frequency offset and a
drift. The same search along curves bent away from the prediction, in the same data, says what such a sum reaches
without the source: the false-alarm probability comes from their maxima (Gumbel's law of extremes), not from a model
of the noise.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Curve = Callable[[FloatArray], FloatArray]

_TIME_STEPS = 60
_DRIFT_STEPS = 7
_LEAST_ROWS = 60
#: A cell counts with no more than this over the noise: a strong source is seen all along its curve, not in spots, and a
#: bent curve that crosses it gains little.
_MOST_OF_A_CELL = 8.0
_EULER = 0.5772156649


@dataclass(frozen=True, slots=True)
class TrackSearch:
    """How far the source may be from its prediction.

    Attributes
    ----------
    time_offset_s, frequency_offset_hz
        Largest offsets to either side; a positive time offset is a satellite that comes late.
    drift_hz
        Largest change of the frequency offset from the first to the last row, to either side.
    trials
        Searches along bent curves from which the false-alarm probability comes.
    """

    time_offset_s: float
    frequency_offset_hz: float
    drift_hz: float
    trials: int = 40


@dataclass(frozen=True, slots=True)
class TrackDetection:
    """The best fit of a predicted curve.

    Attributes
    ----------
    statistic
        Sum along the curve, in standard deviations of such sums elsewhere.
    false_alarm_probability
        Chance that a search without the source reaches as much.
    time_offset_s, frequency_offset_hz, drift_hz
        Where the best sum was found, to within a step of the search.
    time_step_s, frequency_step_hz
        Those steps.
    """

    statistic: float
    false_alarm_probability: float
    time_offset_s: float
    frequency_offset_hz: float
    drift_hz: float
    time_step_s: float
    frequency_step_hz: float


def find_track(
    powers: NDArray[np.float32],
    times_s: FloatArray,
    bin_hz: float,
    curve: Curve,
    search: TrackSearch,
    random: np.random.Generator,
) -> TrackDetection:
    """Search a straightened spectrogram for a source.

    Parameters
    ----------
    powers
        Whitened powers around the predicted frequency, shape (n, m), m odd, the prediction in the middle.
    times_s
        Middle of each row, shape (n,).
    curve
        Predicted frequency (Hz) at times (s), an array function; it was taken off already.
    """
    grid = _coarse(powers, times_s, bin_hz, curve, search)
    best, place = grid.best(grid.shifts(search, 0.0))
    bends = _bends(grid, search, random)
    chance = np.array([grid.best(grid.shifts(search, bend))[0] for bend in bends])
    time_offset, drift, bins = place
    return TrackDetection(
        statistic=best,
        false_alarm_probability=exceedance(best, chance),
        time_offset_s=time_offset,
        frequency_offset_hz=bins * grid.bin_hz,
        drift_hz=drift,
        time_step_s=2 * search.time_offset_s / (_TIME_STEPS - 1),
        frequency_step_hz=grid.bin_hz,
    )


def exceedance(value: float, maxima: FloatArray) -> float:
    """Return the chance that a maximum like those given reaches a value (Gumbel's law, fitted by moments).

    The scale is taken larger by one part in the root of their number, for what so few of them leave unknown.
    """
    scale = float(np.std(maxima, ddof=1)) * math.sqrt(6) / math.pi * (1 + 1 / math.sqrt(len(maxima)))
    location = float(np.mean(maxima)) - _EULER * scale
    exponent = (value - location) / max(scale, 1e-12)
    return float(-math.expm1(-math.exp(-min(max(exponent, -30.0), 700.0))))


@dataclass(frozen=True, slots=True)
class _Grid:
    """The spectrogram summed to the coarseness of the search."""

    powers: NDArray[np.float32]
    times_s: FloatArray
    bin_hz: float
    curve: Curve
    reach: int

    def shifts(self, search: TrackSearch, bend: FloatArray | float) -> list[tuple[float, float, FloatArray]]:
        """Return time offset, drift and the track (bins from the middle) of each trial."""
        along = (self.times_s - self.times_s[0]) / max(float(np.ptp(self.times_s)), 1e-9) - 0.5
        here = self.curve(self.times_s)
        trials = []
        for offset in np.linspace(-search.time_offset_s, search.time_offset_s, _TIME_STEPS):
            moved = self.curve(self.times_s - offset) - here + bend
            for drift in np.linspace(-search.drift_hz, search.drift_hz, _DRIFT_STEPS):
                trials.append((float(offset), float(drift), (moved + drift * along) / self.bin_hz))
        return trials

    def best(self, trials: list[tuple[float, float, FloatArray]]) -> tuple[float, tuple[float, float, int]]:
        """Return the greatest sum, in standard deviations, and its time offset, drift and bins of offset."""
        n, m = self.powers.shape
        width = 2 * self.reach + 1
        # The band is closed to a ring: a curve that leaves it on one side comes back on the other.
        ring = np.concatenate([self.powers, self.powers[:, : width - 1]], axis=1)
        windows = np.lib.stride_tricks.sliding_window_view(ring, width, axis=1)
        rows, first = np.arange(n), m // 2 - self.reach
        best, place = -math.inf, (0.0, 0.0, 0)
        for offset, drift, track in trials:
            sums = windows[rows, (first + np.rint(track).astype(np.int64)) % m].sum(axis=0)
            top = int(np.argmax(sums))
            if sums[top] > best:
                best, place = float(sums[top]), (offset, drift, top - self.reach)
        # Median and quartiles: the source itself must not widen the yardstick.
        low, middle, high = np.percentile(self.powers, [25, 50, 75])
        return (best - n * middle) / max(math.sqrt(n) * (high - low) / 1.349, 1e-12), place


def _coarse(
    powers: NDArray[np.float32], times_s: FloatArray, bin_hz: float, curve: Curve, search: TrackSearch
) -> _Grid:
    """Sum bins and rows to what one step of the search moves the curve."""
    slope = np.abs(np.gradient(curve(times_s), times_s))
    bend = float(np.max(np.abs(np.gradient(slope, times_s))))
    step_hz = max(
        float(slope.max()) * 2 * search.time_offset_s / (_TIME_STEPS - 1), 2 * search.drift_hz / (_DRIFT_STEPS - 1)
    )
    bins = max(1, round(step_hz / bin_hz))
    row_s = float(np.median(np.diff(times_s)))
    still_s = bins * bin_hz / max(bend * search.time_offset_s, 1e-9)
    rows = max(1, min(int(still_s / row_s), len(powers) // _LEAST_ROWS))
    n = len(powers) // rows * rows
    # An odd number of coarse bins around the middle one.
    half = (powers.shape[1] // bins - 1) // 2
    middle = powers.shape[1] // 2
    first = middle - bins // 2 - half * bins
    first = max(first, 0)
    width = (2 * half + 1) * bins
    cut = np.minimum(powers[:n, first : first + width], _MOST_OF_A_CELL)
    summed = cut.reshape(n // rows, rows, 2 * half + 1, bins).sum(axis=(1, 3))
    reach = min(half, math.ceil(search.frequency_offset_hz / (bins * bin_hz)))
    return _Grid(summed, times_s[:n].reshape(-1, rows).mean(axis=1), bins * bin_hz, curve, reach)


def _bends(grid: _Grid, search: TrackSearch, random: np.random.Generator) -> list[FloatArray]:
    """Return curves that no offset within the search can bring near the prediction: slanted and bowed at random.

    Each crosses at least a quarter of the band.
    """
    along = (grid.times_s - grid.times_s[0]) / max(float(np.ptp(grid.times_s)), 1e-9) - 0.5
    band_hz = grid.powers.shape[1] * grid.bin_hz
    bends = []
    for _ in range(search.trials):
        slant, bow = random.uniform(0.25, 1.0, 2) * random.choice([-1.0, 1.0], 2) * (band_hz + 2 * search.drift_hz)
        bends.append(slant * along + bow * (2 * along) ** 3 / 2 + random.uniform(-0.5, 0.5) * band_hz)
    return bends
