"""Frames of one carrier channel: a real baseband of noise and signal, and its spectra as the filter bank makes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.carriers import carrier_spectra, spectrum_margin
from skyglint.dsp.geometry import BankGeometry, CarrierRange
from skyglint.simulate.arrival import Arrival, sum_at
from skyglint.simulate.comb import LINE_WIDTH_HZ, SNR_BANDWIDTH_HZ, line_arrival, line_frequencies_hz
from skyglint.simulate.receiver import white_noise
from skyglint.simulate.scenario import Scenario
from skyglint.simulate.schedule import Schedule
from skyglint.simulate.tone import Tone
from skyglint.site import Channel


@dataclass(frozen=True, slots=True)
class _Source:
    """A tone, its arrivals, and its amplitude over that of a carrier of the same gain."""

    tone: Tone
    arrivals: Sequence[Arrival]
    amplitude: float


class CarrierLane:
    """One channel of kind ``carrier``: white noise at the baseband's rate, and the stations in it.

    The whole width of the baseband is white; the real filter bank's slopes beyond the analysis bandwidth are left out.
    """

    def __init__(
        self,
        channel: Channel,
        plan: CarrierRange,
        geometry: BankGeometry,
        scenario: Scenario,
        happening: Schedule,
        random: np.random.Generator,
    ) -> None:
        self.rate_hz = geometry.sample_rate_hz / plan.decimation
        self._plan, self._random = plan, random
        self._per_frame = geometry.frame_samples // plan.decimation
        self._look = spectrum_margin(plan, self._per_frame)
        self._density = 10 ** (scenario.recording.noise_dbfs / 10) / geometry.sample_rate_hz
        self._bursts = happening.noise_bursts
        self._shift_hz = -channel.frequency_hz * scenario.receiver.clock_error_ppm * 1e-6
        self._sources = [
            _Source(
                self._tone(station.frequency_hz - channel.frequency_hz + station.offset_hz, station.linewidth_hz),
                arrivals,
                1.0,
            )
            for station, arrivals in zip(scenario.transmitter, happening.arrivals, strict=True)
            if station.channel == channel.name
        ]
        for comb in scenario.comb:
            arrival, half_hz = line_arrival(comb), self.rate_hz / 2
            for line_hz in line_frequencies_hz(comb, channel.frequency_hz - half_hz, channel.frequency_hz + half_hz):
                tone = self._tone(line_hz - channel.frequency_hz, LINE_WIDTH_HZ)
                self._sources.append(_Source(tone, (arrival,), np.sqrt(SNR_BANDWIDTH_HZ)))
        self.begin_stretch()

    def _tone(self, offset_hz: float, linewidth_hz: float) -> Tone:
        return Tone(self.rate_hz, offset_hz + self._shift_hz, linewidth_hz, self._random)

    def begin_stretch(self) -> None:
        """Forget what came before: samples were lost."""
        self._carry = np.zeros(self._look, dtype=np.complex64)
        self._ahead = 0

    def read(
        self,
        start_s: float,
        n: int,
        gain: NDArray[np.float32],
        extra: NDArray[np.float64],
        extra_square: NDArray[np.float64],
    ) -> tuple[NDArray[np.float32], NDArray[np.complex64], NDArray[np.float64]]:
        """Return the bin powers of ``n`` frames, their baseband, and the power of all stations in each frame."""
        per_frame, look = self._per_frame, self._look
        wanted = n * per_frame + look - self._ahead
        fresh = self._made(start_s + self._ahead / self.rate_hz, wanted)
        self._ahead = look
        whole = np.concatenate([self._carry, fresh])
        self._carry = whole[-2 * look :] if look else whole[:0]
        amplitude = np.sqrt(np.repeat(gain, per_frame))
        amplitude = np.concatenate([np.full(look, amplitude[0]), amplitude, np.full(look, amplitude[-1])])
        whole = whole * amplitude
        spectra = carrier_spectra(whole, self._plan, n, per_frame)
        baseband = whole[look : look + n * per_frame].copy()
        noise = self._density * self.rate_hz
        total = (np.abs(baseband) ** 2).reshape(n, per_frame).mean(axis=1) / gain
        return spectra, baseband, np.maximum(total - noise * (1 + extra), 0)

    def _made(self, start_s: float, n: int) -> NDArray[np.complex64]:
        samples = white_noise(n, self._density * self.rate_hz, self._random)
        end_s = start_s + n / self.rate_hz
        for burst in self._bursts:
            if burst.end_s > start_s and burst.start_s < end_s:
                extra = white_noise(n, self._density * self.rate_hz, self._random)
                samples += extra * burst.at(start_s, 1 / self.rate_hz, n)
        for source in self._sources:
            gain = sum_at(source.arrivals, start_s, 1 / self.rate_hz, n)
            if gain is None:
                continue
            unit = source.tone.read(round(start_s * self.rate_hz), n)
            samples += unit * gain * np.float32(source.amplitude * np.sqrt(self._density))
        return samples
