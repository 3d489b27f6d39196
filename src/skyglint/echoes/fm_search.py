"""The search of all FM channels of one stretch: power over the floor, windows, thresholds, bursts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.frames import FrameBlock
from skyglint.echoes.history import History, SpectraHistory
from skyglint.echoes.lanes import LaneReadings, Lanes
from skyglint.echoes.picker import Burst, Picker, window_readings
from skyglint.echoes.plan import SearchPlan
from skyglint.echoes.scales import WindowStatistics, search_windows, window_statistics
from skyglint.echoes.thresholds import Thresholds
from skyglint.echoes.weights import StationSpectrum, Weighting

Floats = NDArray[np.float64]

_SHORTEST_S = 0.03

#: Steps between two lessons, at which the bursts found since the last are taken out of the floor.
STEPS_PER_LESSON = 10

#: Steps that are looked back over to tell whether the floor itself has risen: 5 minutes.
BACKGROUND_STEPS = 600


@dataclass(frozen=True, slots=True)
class Closed:
    """A burst that is over.

    Attributes
    ----------
    channel
        Its number among the FM channels.
    burst
        Where it is.
    now
        Frame up to which the stretch had been heard when it closed.
    """

    channel: int
    burst: Burst
    now: int


class FmMemory:
    """The last half minute of all FM channels: what a burst is measured from."""

    def __init__(self, n_channels: int, keep: int, frames_per_step: int) -> None:
        self.keep = keep
        self.excess = History((n_channels,), keep)
        self.power_excess = History((n_channels,), keep)
        self.clipped = History((), keep)
        self.spectra = SpectraHistory(keep)
        self._log_floor = History((n_channels,), keep // frames_per_step + BACKGROUND_STEPS + 2)
        self._floor_sd = History((n_channels,), keep // frames_per_step + 2)
        self._frames_per_step = frames_per_step

    def append(self, frames: FrameBlock, readings: LaneReadings) -> None:
        """Add what was read."""
        self.excess.append(readings.excess)
        self.power_excess.append(readings.power_excess)
        self.clipped.append(frames.clipped)
        self.spectra.append(frames.spectra)
        self._log_floor.append(np.stack([state.log_level for state in readings.states], axis=1))
        self._floor_sd.append(np.sqrt(np.stack([state.variance for state in readings.states], axis=1)))

    def background(self, channel: int, frame: int) -> Floats:
        """Return the floor's natural logarithm, step by step, over the last minutes before a frame."""
        step = frame // self._frames_per_step
        background: Floats = self._log_floor.view(max(step - BACKGROUND_STEPS, 0), step + 1)[channel]
        return background

    def floor(self, channel: int, frame: int) -> tuple[float, float]:
        """Return the weighted floor at a frame and its relative standard error."""
        step = frame // self._frames_per_step
        log_floor = self._log_floor.view(step, step + 1)[channel, 0]
        return float(np.exp(log_floor)), float(self._floor_sd.view(step, step + 1)[channel, 0])


class FmSearch:
    """Bursts of all FM channels, step by step.

    Parameters
    ----------
    plan
        Channels, grids, settings.
    frames
        The first frames, up to the end of the warm-up; they are searched later, by `read`.
    """

    def __init__(self, plan: SearchPlan, frames: FrameBlock) -> None:
        self._plan = plan
        n_channels = len(plan.channels)
        per_step = min(plan.frames_per_step, frames.n_frames)
        n_steps = frames.n_frames // per_step
        warm_up = [power[: n_steps * per_step].reshape(n_steps, per_step, -1) for power in frames.spectra]
        self.lanes = Lanes(plan.grids, plan.spectra, warm_up, plan.frames_per_step)
        longest = plan.frames(plan.settings.longest_echo_s)
        self._windows = search_windows(max(plan.frames(_SHORTEST_S), 1), longest)
        self._reach = int(self._windows.length.max())
        self._thresholds = Thresholds(self._windows, n_channels, plan.frames_per_step)
        keep = self._reach * 5 // 4 + plan.frames(plan.settings.join_most_s + plan.settings.snippet_before_s + 3.0)
        self.memory = FmMemory(n_channels, keep, plan.frames_per_step)
        self._cleaned = History((n_channels,), keep)
        self._lessons: list[Closed] = []
        self._stations = [StationSpectrum(spectrum) for spectrum in plan.spectra]
        self._taught: set[int] = set()
        self._known: tuple[Sequence[Weighting], WindowStatistics] | None = None
        self._pickers = [Picker(self._windows, plan.settings, plan.frame_s) for _ in plan.channels]

    @property
    def steps_to_read(self) -> int:
        """Steps that may be read in one go: what was learnt from the last ones is then put to use."""
        return STEPS_PER_LESSON - self.lanes.steps % STEPS_PER_LESSON

    def read(self, frames: FrameBlock, n_steps: int) -> tuple[LaneReadings, list[Closed]]:
        """Search ``n_steps`` whole steps, or one last, shorter one at the end of the stretch."""
        per_step = frames.n_frames // n_steps
        statistics = self._statistics()
        readings = self.lanes.read([power.reshape(n_steps, per_step, -1) for power in frames.spectra])
        thresholds = self._thresholds.next(readings.states, statistics)
        self.memory.append(frames, readings)
        self._cleaned.append(readings.excess)
        closed = self._search(thresholds, n_steps, per_step)
        if self.steps_to_read == STEPS_PER_LESSON:
            self._learn()
        return readings, closed

    def teach(self, channel: int, signal: Floats) -> None:
        """Take in the bin powers of a strong echo of a channel's station, noise taken off, shape (n_bins,)."""
        self._stations[channel].learn(signal)
        self._taught.add(channel)

    def end(self) -> list[Closed]:
        """Close what is still open."""
        now = self._cleaned.end
        return [
            Closed(channel, burst, now)
            for channel, picker in enumerate(self._pickers)
            for burst in picker.close(now, everything=True)
        ]

    def _statistics(self) -> WindowStatistics:
        """Return what noise does in the windows with the weights as they stand; worked out once for each setting."""
        weightings = self.lanes.weightings
        if self._known is None or self._known[0] is not weightings:
            statistics = window_statistics(
                self._windows,
                np.array([weighting.samples_per_frame for weighting in weightings]),
                np.array([weighting.skewness for weighting in weightings]),
                self._plan.settings.false_alarms_per_channel_hour,
            )
            self._known = weightings, statistics
        return self._known[1]

    def _search(self, thresholds: Floats, n_steps: int, per_step: int) -> list[Closed]:
        first = self._cleaned.end - n_steps * per_step
        found: list[Closed] = []
        suspects = self._suspects(thresholds, n_steps, per_step)
        for step in range(n_steps):
            now = first + (step + 1) * per_step
            for channel, picker in enumerate(self._pickers):
                if suspects[channel, step]:
                    cleaned = self._cleaned.view(now - per_step - self._reach, now)[channel]
                    picker.search(cleaned, now, per_step, thresholds[step, channel])
                if picker.busy:
                    found += [Closed(channel, burst, now) for burst in picker.close(now)]
        self._lessons += [item for item in found if not item.burst.overlong]
        return found

    def _learn(self) -> None:
        per_step, now = self._plan.frames_per_step, self.lanes.steps
        for item in self._lessons:
            start, stop = item.burst.start // per_step, -(-item.burst.stop // per_step)
            self.lanes.forget(item.channel, now - start, now - stop)
        self._lessons.clear()
        for channel in self._taught:
            self.lanes.set_spectrum(channel, self._stations[channel].spectrum)
        self._taught.clear()
        span = STEPS_PER_LESSON * per_step
        end = self._cleaned.end
        cleaned = self._cleaned.view(end - span - self._reach, end)
        ends = self._reach + per_step * np.arange(1, STEPS_PER_LESSON + 1)
        self._thresholds.learn(window_readings(cleaned, self._windows, ends).transpose(2, 0, 1))

    def _suspects(self, thresholds: Floats, n_steps: int, per_step: int) -> NDArray[np.bool_]:
        """Tell, for each channel and step, whether any window stands above its threshold, bursts not yet taken out."""
        end, n_frames = self._cleaned.end, n_steps * per_step
        excess = self.memory.excess.view(end - n_frames - self._reach, end)
        ends = np.arange(self._reach + 1, self._reach + n_frames + 1)
        readings = window_readings(excess, self._windows, ends)
        highest = readings.reshape(*readings.shape[:-1], n_steps, per_step).max(axis=-1)
        # Rounding differs with the cut of the stream here; the search itself decides, on sums that do not.
        slack = 1e-9
        return np.asarray((highest > thresholds.transpose(1, 2, 0) - slack).any(axis=1))
