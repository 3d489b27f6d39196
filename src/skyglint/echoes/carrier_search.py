"""The search of all carrier channels of one stretch: whitened basebands, matched windows, bursts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.frames import FrameBlock
from skyglint.dsp.line_floor import LineFloor, quiet_looks
from skyglint.echoes.history import History, SpectraHistory
from skyglint.echoes.plan import SearchPlan
from skyglint.echoes.tone_bursts import ToneBurst, ToneCollector
from skyglint.echoes.tones import ToneBank, tone_threshold
from skyglint.echoes.whitener import Whitener

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CarrierReadings:
    """Some steps of all carrier channels: floor in the analysis bandwidth, excess of the strongest bin and of the band.

    All have the shape (n_channels, n_frames).
    """

    floor: Floats
    excess: Floats
    band_excess: Floats


@dataclass(frozen=True, slots=True)
class ClosedTone:
    """A burst that is over.

    Attributes
    ----------
    channel
        Its number among the carriers.
    burst
        Where it is.
    now
        Sample up to which the stretch had been searched when it closed.
    noise
        Noise in each bin of the channel then, shape (n_bins,).
    """

    channel: int
    burst: ToneBurst
    now: int
    noise: Floats


class CarrierSearch:
    """Bursts of all carrier channels, step by step.

    Parameters
    ----------
    plan
        Channels, grids, settings.
    frames
        The first frames, up to the end of the warm-up; they are searched later, by `read`.
    """

    def __init__(self, plan: SearchPlan, frames: FrameBlock) -> None:
        self._plan = plan
        self.rate_hz = frames.baseband_rate_hz
        self.per_frame = round(self.rate_hz * plan.frame_s)
        self._per_step = plan.frames_per_step * self.per_frame
        settings = plan.settings
        keep_s = 1.25 * settings.longest_echo_s + settings.join_most_s + settings.snippet_before_s + 6.0
        self._lanes = [
            _Lane(plan, number, frames, self.rate_hz, self._per_step, round(keep_s * self.rate_hz))
            for number in range(len(plan.channels))
        ]
        self.spectra = SpectraHistory(plan.frames(keep_s))
        self.clipped = History((), plan.frames(keep_s))

    def samples(self, channel: int, start: int, stop: int) -> NDArray[np.complex64]:
        """Return whitened samples of a channel, by their number in the stretch."""
        part: NDArray[np.complex64] = self._lanes[channel].white.view(start, stop)
        return part

    def threshold(self, channel: int) -> float:
        """Return the E/N0 above which a tone is found."""
        return self._lanes[channel].threshold

    def read(self, frames: FrameBlock, n_steps: int) -> tuple[CarrierReadings, list[ClosedTone]]:
        """Search ``n_steps`` whole steps, or one last, shorter one at the end of the stretch."""
        n_frames = frames.n_frames // n_steps
        self.spectra.append(frames.spectra)
        self.clipped.append(frames.clipped)
        floor, excess, band = np.empty((3, len(self._lanes), frames.n_frames))
        closed: list[ClosedTone] = []
        for step in range(n_steps):
            rows = slice(step * n_frames, (step + 1) * n_frames)
            for number, lane in enumerate(self._lanes):
                levels = lane.level(frames.spectra[number][rows])
                floor[number, rows], excess[number, rows], band[number, rows] = levels
                baseband = frames.basebands[number]
                assert baseband is not None  # channels of this kind have one
                lane.take(baseband[rows.start * self.per_frame : rows.stop * self.per_frame])
                closed += [
                    ClosedTone(number, burst, lane.heard, lane.bins.power) for burst in lane.collector.close(lane.heard)
                ]
        return CarrierReadings(floor, excess, band), closed

    def end(self) -> list[ClosedTone]:
        """Search what the whitening held back, and close what is still open."""
        closed = []
        for number, lane in enumerate(self._lanes):
            lane.flush()
            closed += [
                ClosedTone(number, burst, lane.heard, lane.bins.power)
                for burst in lane.collector.close(lane.heard, everything=True)
            ]
        return closed


class _Lane:
    """One carrier channel."""

    def __init__(
        self, plan: SearchPlan, number: int, frames: FrameBlock, rate_hz: float, per_step: int, keep: int
    ) -> None:
        baseband = frames.basebands[number]
        assert baseband is not None  # channels of this kind have one
        half_band_hz = min(plan.channels[number].bandwidth_hz, 0.8 * rate_hz) / 2
        self._per_step = per_step
        n_steps = max(len(baseband) // per_step, 1)
        first = np.resize(baseband, n_steps * per_step).reshape(n_steps, per_step)
        self._whitener = Whitener(first, rate_hz, half_band_hz)
        self._bank = ToneBank(rate_hz, half_band_hz)
        self.threshold = tone_threshold(plan.settings.false_alarms_per_channel_hour, 2 * half_band_hz)
        self.collector = ToneCollector(plan.settings, rate_hz)
        self.white = History((), keep, np.complex64)
        self._usable = plan.grids[number].usable
        per_look = min(plan.frames_per_step, frames.n_frames)
        looks = frames.spectra[number][: frames.n_frames // per_look * per_look]
        means = looks.reshape(-1, per_look, looks.shape[1]).mean(axis=1, dtype=np.float64)
        self.bins = LineFloor(np.median(means[quiet_looks(means.sum(axis=1))], axis=0), 1.0)
        self._skip = True  # the first whitened step is empty
        self._short = 0

    @property
    def heard(self) -> int:
        """Samples searched so far."""
        return self.white.end

    def level(self, spectra: NDArray[np.float32]) -> tuple[Floats, Floats, Floats]:
        """Return floor, and the strongest bin's and the whole band's excess, of one step's frames."""
        floor = self.bins.power
        ratio = spectra[:, self._usable] / floor[self._usable]
        highest = ratio.max(axis=1, initial=0.0) - 1.0
        self.bins.update(spectra.mean(axis=0, dtype=np.float64))
        whole = floor[self._usable].sum()
        band = spectra[:, self._usable].sum(axis=1, dtype=np.float64) / whole - 1.0
        return np.full(len(spectra), whole), highest, band

    def take(self, samples: NDArray[np.complex64]) -> None:
        """Whiten and search one step; a shorter one is the stretch's last."""
        n = len(samples)
        self._short = self._per_step - n
        white = self._whitener.process(np.pad(samples, (0, self._short)))
        if self._skip:
            self._skip = False
            return
        self._look(white)

    def flush(self) -> None:
        """Search the step that the whitener holds back, and windows that reach beyond the end."""
        if self._skip:
            return
        white = self._whitener.process(np.zeros(self._per_step, dtype=np.complex64))
        self._look(white[: self._per_step - self._short])
        end = self.heard
        beyond = np.zeros(self._bank.reach, dtype=np.complex64)
        known = self.white.view(end - self._bank.reach, end)
        self._add(np.concatenate([known, beyond]), end - self._bank.reach, end, end + self._bank.reach)

    def _look(self, white: NDArray[np.complex64]) -> None:
        start = self.heard
        self.white.append(white)
        end = self.heard
        self._add(self.white.view(start - self._bank.reach, end), start - self._bank.reach, start, end)

    def _add(self, samples: NDArray[np.complex64], first: int, start: int, stop: int) -> None:
        self.collector.add(self._bank.search(samples, first, start, stop, self.threshold))
