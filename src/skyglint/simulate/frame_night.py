"""A simulated night as frames: what the filter bank would make of hours of samples, in seconds.

Bin powers are drawn from their distribution instead of being measured from samples; envelopes, disturbances and truth
are those of a recording of the same scenario and seed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.frames import ChannelGrid, FrameBlock
from skyglint.dsp.geometry import BankGeometry, CarrierRange, FmRange, plan_bank
from skyglint.simulate.carrier_lane import CarrierLane
from skyglint.simulate.fm_lane import FmLane, frame_means
from skyglint.simulate.receiver import GainWander, fast_random, step_gain_db
from skyglint.simulate.scenario import Scenario
from skyglint.simulate.schedule import Schedule, schedule
from skyglint.simulate.truth import Truth
from skyglint.site import Channel


@dataclass(frozen=True, slots=True)
class FrameNight:
    """Frames of a simulated night, generated as they are asked for.

    Attributes
    ----------
    channels
        The channels watched.
    geometry
        The filter bank's plan for the scenario's sample rate and centre.
    truth
        What happens.
    """

    channels: tuple[Channel, ...]
    geometry: BankGeometry
    truth: Truth
    _scenario: Scenario
    _happening: Schedule
    _seed: int

    @property
    def grids(self) -> tuple[ChannelGrid, ...]:
        """The frequency grid of each channel."""
        return tuple(grid for grid in self.geometry.grids if grid is not None)

    def blocks(self, block_s: float = 2.0) -> Iterator[FrameBlock]:
        """Yield the frames in blocks of about ``block_s``; the same for the same block length and seed."""
        random = fast_random(self._seed)
        recording, frame_s = self._scenario.recording, self.geometry.frame_s
        lanes = [self._lane(number, random) for number in range(len(self.channels))]
        receiver = self._scenario.receiver
        wander = GainWander(receiver.gain_wander_db, receiver.gain_wander_s, random)
        for stretch, (begin_s, end_s) in enumerate(self._watched()):
            first, total = 0, int((end_s - begin_s) / frame_s + 1e-6)
            for lane in lanes:
                lane.begin_stretch()
            while first < total:
                n = min(max(round(block_s / frame_s), 1), total - first)
                start_s = begin_s + first * frame_s
                yield self._block(lanes, wander, stretch, recording.start_unix + start_s, first, start_s, n)
                first += n

    def _lane(self, number: int, random: np.random.Generator) -> FmLane | CarrierLane:
        plan, channel = self.geometry.ranges[number], self.channels[number]
        if isinstance(plan, FmRange):
            return FmLane(channel, plan.grid, self.geometry, self._scenario, self._happening, random)
        assert isinstance(plan, CarrierRange)  # frame_night refuses channels outside the band
        return CarrierLane(channel, plan, self.geometry, self._scenario, self._happening, random)

    def _watched(self) -> Iterator[tuple[float, float]]:
        start_unix, at_s = self._scenario.recording.start_unix, 0.0
        for lost_begin, lost_end in self.truth.losses:
            if lost_begin - start_unix > at_s:
                yield at_s, lost_begin - start_unix
            at_s = lost_end - start_unix
        if at_s < self._scenario.recording.duration_s:
            yield at_s, self._scenario.recording.duration_s

    def _block(
        self,
        lanes: Sequence[FmLane | CarrierLane],
        wander: GainWander,
        stretch: int,
        start_unix: float,
        first: int,
        start_s: float,
        n: int,
    ) -> FrameBlock:
        frame_s = self.geometry.frame_s
        middle_s = np.asarray(start_s + (np.arange(n) + 0.5) * frame_s, dtype=np.float64)
        begin_db, end_db = wander.read(n * frame_s)
        gain_db = np.linspace(begin_db, end_db, n, endpoint=False) + step_gain_db(self._scenario.gain_step, middle_s)
        gain = (10 ** (gain_db / 10)).astype(np.float32)
        extra, extra_square = frame_means(self._happening.noise_bursts, start_s, frame_s, n)
        noise = 1 + extra
        level = 10 ** (self._scenario.recording.noise_dbfs / 10) * noise
        spectra: list[NDArray[np.float32]] = []
        basebands: list[NDArray[np.complex64] | None] = []
        rate_hz = 0.0
        for lane in lanes:
            power, baseband, signal = lane.read(start_s, n, gain, extra, extra_square)
            spectra.append(power)
            basebands.append(baseband)
            level = level + signal
            rate_hz = lane.rate_hz or rate_hz
        return FrameBlock(
            stretch=stretch,
            start_unix=start_unix,
            first_frame=first,
            frame_s=frame_s,
            spectra=tuple(spectra),
            basebands=tuple(basebands),
            baseband_rate_hz=rate_hz,
            clipped=np.zeros(n, dtype=np.float32),
            level=(level * gain).astype(np.float32),
        )


def frame_night(scenario: Scenario, channels: Sequence[Channel], seed: int | None = None) -> FrameNight:
    """Return a scenario's night as frames of these channels.

    A transmitter is heard in every channel of the same name. Left out: the DC spike, the I/Q image and clipping;
    neighbouring bins and frames are independent, with the filter bank's effective number of samples.

    Raises
    ------
    ValueError
        If a channel lies outside the scenario's band.
    """
    seed = scenario.recording.seed if seed is None else seed
    happening = schedule(scenario, np.random.default_rng(seed))
    recording = scenario.recording
    half = recording.sample_rate_hz / 2
    band = (recording.center_frequency_hz - half, recording.center_frequency_hz + half)
    geometry = plan_bank(channels, recording.sample_rate_hz, recording.center_frequency_hz, 0.0, band)
    outside = [channel.name for channel, plan in zip(channels, geometry.ranges, strict=True) if plan is None]
    if outside:
        raise ValueError(f"channels outside the scenario's band: {', '.join(outside)}")
    return FrameNight(tuple(channels), geometry, happening.truth, scenario, happening, seed)
