"""One unbroken stretch of frames, searched from its first frame to its last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.frames import ChannelGrid, FrameBlock
from skyglint.echoes.echo import Echo, Findings
from skyglint.echoes.history import History, SpectraHistory
from skyglint.echoes.lanes import LaneReadings, Lanes
from skyglint.echoes.measure import burst_strength, picture
from skyglint.echoes.picker import Burst, Picker, window_readings
from skyglint.echoes.scales import WindowStatistics, search_windows, window_statistics
from skyglint.echoes.settings import DetectionSettings
from skyglint.echoes.thresholds import Thresholds
from skyglint.echoes.weights import programme_spectrum
from skyglint.site import Channel

Floats = NDArray[np.float64]

_SHORTEST_S = 0.03

#: Steps between two lessons, at which the bursts found since the last are taken out of the floor.
STEPS_PER_LESSON = 10


@dataclass(frozen=True, slots=True)
class StretchPlan:
    """What stays the same from stretch to stretch."""

    channels: tuple[Channel, ...]
    grids: tuple[ChannelGrid, ...]
    frame_s: float
    frames_per_step: int
    settings: DetectionSettings


class Stretch:
    """Search state of one stretch.

    Parameters
    ----------
    plan
        Channels, grids, settings.
    start_unix, first_frame
        Start of the first frame, and its number within the stretch.
    warm_up
        Bin powers of the first steps, for each channel shape (n_steps, frames_per_step, n_bins).
    """

    def __init__(self, plan: StretchPlan, start_unix: float, warm_up: Sequence[NDArray[np.float32]]) -> None:
        self._plan = plan
        self._start_unix = start_unix
        self._frame_s = plan.frame_s
        n_channels = len(plan.channels)
        spectra = [_signal_spectrum(channel, grid) for channel, grid in zip(plan.channels, plan.grids, strict=True)]
        self._lanes = Lanes(plan.grids, spectra, warm_up, plan.frames_per_step)
        longest = round(plan.settings.longest_echo_s / plan.frame_s)
        self._windows = search_windows(max(round(_SHORTEST_S / plan.frame_s), 1), longest)
        self._reach = int(self._windows.length.max())
        self._thresholds = Thresholds(self._windows, n_channels, plan.frames_per_step)
        keep = self._reach + round((plan.settings.join_most_s + plan.settings.snippet_before_s + 3.0) / plan.frame_s)
        self._excess = History((n_channels,), keep)
        self._cleaned = History((n_channels,), keep)
        self._power_excess = History((n_channels,), keep)
        self._clipped = History((), keep)
        self._spectra = SpectraHistory(keep)
        self._lessons: list[tuple[int, Burst]] = []
        self._pickers = [Picker(self._windows, plan.settings, plan.frame_s) for _ in plan.channels]

    @property
    def steps_to_read(self) -> int:
        """Steps that may be read in one go: what was learnt from the last ones is then put to use."""
        return STEPS_PER_LESSON - self._lanes.steps % STEPS_PER_LESSON

    def read(self, frames: FrameBlock) -> Findings:
        """Search whole steps, or the last part of one at the end of the stretch."""
        per_step = min(self._plan.frames_per_step, frames.n_frames)
        n_steps = frames.n_frames // per_step
        statistics = self._statistics()
        readings = self._lanes.read([power.reshape(n_steps, per_step, -1) for power in frames.spectra])
        thresholds = self._thresholds.next(readings.states, statistics)
        self._remember(frames, readings)
        echoes = self._search(thresholds, n_steps, per_step)
        if self.steps_to_read == STEPS_PER_LESSON:
            self._learn()
        return Findings(
            frames.start_unix,
            frames.frame_s,
            readings.floor.astype(np.float32),
            readings.power_excess.astype(np.float32),
            tuple(sorted(echoes, key=lambda echo: echo.start_unix)),
        )

    def end(self) -> Findings:
        """Close what is still open; the stretch ends here."""
        echoes = []
        now = self._excess.end
        for channel, picker in enumerate(self._pickers):
            echoes += [self._measure(channel, burst, now) for burst in picker.close(now, everything=True)]
        nothing = np.zeros((len(self._pickers), 0), dtype=np.float32)
        return Findings(
            self._start_unix + now * self._frame_s,
            self._frame_s,
            nothing,
            nothing,
            tuple(sorted(echoes, key=lambda echo: echo.start_unix)),
        )

    def _statistics(self) -> WindowStatistics:
        weightings = self._lanes.weightings
        return window_statistics(
            self._windows,
            np.array([weighting.samples_per_frame for weighting in weightings]),
            np.array([weighting.skewness for weighting in weightings]),
            self._plan.settings.false_alarms_per_channel_hour,
        )

    def _remember(self, frames: FrameBlock, readings: LaneReadings) -> None:
        self._excess.append(readings.excess)
        self._cleaned.append(readings.excess)
        self._power_excess.append(readings.power_excess)
        self._clipped.append(frames.clipped)
        self._spectra.append(frames.spectra)

    def _search(self, thresholds: Floats, n_steps: int, per_step: int) -> list[Echo]:
        end = self._excess.end
        n_frames = n_steps * per_step
        echoes: list[Echo] = []
        suspects = self._suspects(thresholds, n_steps, per_step)
        for step in range(n_steps):
            now = end - n_frames + (step + 1) * per_step
            for channel, picker in enumerate(self._pickers):
                if suspects[channel, step]:
                    cleaned = self._cleaned.view(now - per_step - self._reach, now)[channel]
                    picker.search(cleaned, now, per_step, thresholds[step, channel])
                for burst in picker.close(now) if picker.busy else ():
                    echoes.append(self._measure(channel, burst, now))
                    if not burst.overlong:
                        self._lessons.append((channel, burst))
        return echoes

    def _learn(self) -> None:
        per_step, now = self._plan.frames_per_step, self._lanes.steps
        for channel, burst in self._lessons:
            self._lanes.forget(channel, now - burst.start // per_step, now + (-burst.stop // per_step))
        self._lessons.clear()

    def _suspects(self, thresholds: Floats, n_steps: int, per_step: int) -> NDArray[np.bool_]:
        """Tell, for each channel and step, whether any window stands above its threshold, bursts not yet taken out."""
        end, n_frames = self._excess.end, n_steps * per_step
        excess = self._excess.view(end - n_frames - self._reach, end)
        ends = np.arange(self._reach + 1, self._reach + n_frames + 1)
        readings = window_readings(excess, self._windows, ends)
        highest = readings.reshape(*readings.shape[:-1], n_steps, per_step).max(axis=-1)
        # Rounding differs with the cut of the stream here; the search itself decides, on sums that do not.
        slack = 1e-9
        return np.asarray((highest > thresholds.transpose(1, 2, 0) - slack).any(axis=1))

    def _measure(self, channel: int, burst: Burst, now: int) -> Echo:
        settings, frame_s = self._plan.settings, self._frame_s
        excess = self._power_excess.view(burst.start, burst.stop)[channel]
        strength = burst_strength(excess, frame_s)
        bandwidth_hz = self._plan.channels[channel].bandwidth_hz
        reference = bandwidth_hz if self._plan.channels[channel].kind == "carrier" else 1.0
        guard = self._plan.channels[channel].role == "guard"
        start = max(burst.start - round(settings.snippet_before_s / frame_s), 0)
        stop = min(burst.stop + round(settings.snippet_after_s / frame_s), now)
        stop = min(stop, start + round(settings.snippet_longest_s / frame_s))
        return Echo(
            channel=self._plan.channels[channel].name,
            start_unix=self._unix(burst.start),
            duration_s=burst.n_frames * frame_s,
            peak_unix=self._unix(burst.start + strength.peak_frame) + frame_s / 2,
            peak_snr_db=float(10 * np.log10(max(strength.peak_snr * reference, 1e-10))),
            energy_snr_s=strength.energy_snr_s,
            echo_class="interference" if guard else "unknown",
            reason="seen in a guard channel, where no transmitter is" if guard else "not told apart yet",
            flags=self._flags(burst, now),
            snippet=picture(
                self._unix(start),
                frame_s,
                self._power_excess.view(start, stop)[channel],
                self._plan.grids[channel].offsets_hz,
                self._spectra.view(channel, start, stop),
                self._lanes.bin_floor(channel),
            ),
            details={"strength": burst.strength, "window_s": burst.window_frames * frame_s},
        )

    def _flags(self, burst: Burst, now: int) -> tuple[str, ...]:
        flags = set()
        if float(self._clipped.view(burst.start, burst.stop).max()) > 1e-3:
            flags.add("clipped")
        if burst.start <= 2:
            flags.add("gap")
        if burst.stop >= now - 2:
            flags.add("gap")
        if burst.overlong:
            flags.add("long")
        return tuple(sorted(flags))

    def _unix(self, frame: int) -> float:
        return self._start_unix + frame * self._frame_s


def _signal_spectrum(channel: Channel, grid: ChannelGrid) -> Floats:
    if channel.kind == "fm":
        return programme_spectrum(grid.offsets_hz)
    return np.full(len(grid.offsets_hz), 1.0 / len(grid.offsets_hz))
