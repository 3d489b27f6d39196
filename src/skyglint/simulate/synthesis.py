"""Putting stations side by side on the receiver's band: one Fourier block, one inverse transform for all of them.

Each station is made at a low rate, transformed, set into the wide spectrum where it belongs, and a single inverse
transform gives all of them at the full rate (overlap-save). Stations that are silent cost nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.simulate.arrival import Arrival, sum_at
from skyglint.simulate.comb import LINE_WIDTH_HZ, SNR_BANDWIDTH_HZ, line_arrival, line_frequencies_hz
from skyglint.simulate.events import Comb
from skyglint.simulate.multiplex import FmStation
from skyglint.simulate.resampling import OVERLAP, band_edge
from skyglint.simulate.scenario import Scenario, Transmitter
from skyglint.simulate.tone import Tone

_FM_RATE_HZ = 300_000.0
_CARRIER_RATE_HZ = 20_000.0
_LOW_BLOCK = 1024  # samples of a carrier's block: short, so that the wide transform stays in the processor's cache
# Parts of half a station's rate that pass whole. The shorter block of a carrier needs the gentler slope to be over
# within its overlap; 6 kHz to either side remain.
_FM_PASS, _CARRIER_PASS = 0.9, 0.6

ReadBaseband = Callable[[int, int], NDArray[np.complex64]]


@dataclass(frozen=True, slots=True)
class Emitter:
    """A station on the receiver's band.

    Attributes
    ----------
    factor
        Full-rate samples for each of the station's.
    shift_bins
        Where the station's baseband stands in the wide spectrum.
    amplitude
        Full-scale amplitude of a gain of 1.
    read
        ``read(start, n)`` gives the station's unit baseband from its sample ``start`` on.
    arrivals
        The ways in which it arrives.
    """

    factor: int
    shift_bins: int
    amplitude: float
    read: ReadBaseband
    arrivals: Sequence[Arrival]


@dataclass(frozen=True, slots=True)
class Rates:
    """Block lengths and factors that fit a sample rate.

    Attributes
    ----------
    rate_hz
        True full rate.
    fm_factor, carrier_factor
        Full-rate samples for each sample of an FM station and of a carrier.
    block
        Full-rate samples of one Fourier block; a quarter of it overlaps.
    """

    rate_hz: float
    fm_factor: int
    carrier_factor: int
    block: int

    @property
    def hop(self) -> int:
        """Full-rate samples that one block adds."""
        return self.block - int(self.block * OVERLAP)


def rates_for(rate_hz: float) -> Rates:
    """Choose factors so that FM has 300 kHz or a little more and a carrier 20 kHz or more, where the rate allows."""
    fm_factor = max(int(rate_hz / _FM_RATE_HZ * 1.0001), 1)
    carrier_factor = fm_factor
    while rate_hz / (2 * carrier_factor) >= _CARRIER_RATE_HZ:
        carrier_factor *= 2
    return Rates(rate_hz, fm_factor, carrier_factor, carrier_factor * _LOW_BLOCK)


class Synthesizer:
    """Yield the sum of all stations, hop by hop."""

    def __init__(self, emitters: Sequence[Emitter], rates: Rates) -> None:
        self._emitters, self._rates = emitters, rates
        self._edges = {factor: _edge(factor, rates) for factor in {emitter.factor for emitter in emitters}}
        self._recent: dict[int, NDArray[np.complex64]] = {}
        self._index = 0

    def read(self) -> NDArray[np.complex64]:
        """Return the next ``hop`` samples, full scale 1."""
        import scipy.fft

        rates = self._rates
        first = self._index * rates.hop - (rates.block - rates.hop) // 2
        spectrum = np.zeros(rates.block, dtype=np.complex64)
        heard = False
        for number, emitter in enumerate(self._emitters):
            baseband = self._baseband(number, emitter, first)
            if baseband is None:
                continue
            heard = True
            low = scipy.fft.fft(baseband, overwrite_x=False) * self._edges[emitter.factor]
            # Moving the spectrum by whole bins turns the phase with time from the block's start.
            turn = np.exp(2j * np.pi * ((emitter.shift_bins * first) % rates.block) / rates.block)
            low *= np.complex64(turn * emitter.amplitude * emitter.factor)
            _set_in(spectrum, low, emitter.shift_bins)
        self._index += 1
        if not heard:
            return np.zeros(rates.hop, dtype=np.complex64)
        guard = (rates.block - rates.hop) // 2
        return np.asarray(scipy.fft.ifft(spectrum, overwrite_x=True)[guard : guard + rates.hop], dtype=np.complex64)

    def _baseband(self, number: int, emitter: Emitter, first: int) -> NDArray[np.complex64] | None:
        """Return the station's whole block with its gain on, or ``None`` while nothing of it arrives."""
        rates, factor = self._rates, emitter.factor
        step_s = factor / rates.rate_hz
        n, hop = rates.block // factor, rates.hop // factor
        gain = sum_at(emitter.arrivals, first / rates.rate_hz, step_s, n)
        if gain is None:
            self._recent.pop(number, None)
            return None
        kept = self._recent.get(number)
        if kept is None:
            unit = emitter.read(first // factor, n)
        else:
            unit = np.concatenate([kept, emitter.read(first // factor + n - hop, hop)])
        self._recent[number] = unit[hop:]
        return unit * gain


def _edge(factor: int, rates: Rates) -> NDArray[np.float32]:
    """Return the low-pass that takes away the images of a raised rate; there are none where the rate stays."""
    n = rates.block // factor
    if factor == 1:
        return np.ones(n, dtype=np.float32)
    return band_edge(n, _FM_PASS if factor == rates.fm_factor else _CARRIER_PASS)


def _set_in(spectrum: NDArray[np.complex64], low: NDArray[np.complex64], shift_bins: int) -> None:
    """Add a narrow spectrum (standard order) into the wide one, ``shift_bins`` up; what leaves the band is lost."""
    n, half = len(low), len(low) // 2
    ordered = np.concatenate([low[half:], low[:half]])  # from -half to half - 1
    wide = len(spectrum)
    first = shift_bins - half
    begin, end = max(first, -(wide // 2)), min(first + n, wide // 2)
    if begin >= end:
        return
    part = ordered[begin - first : end - first]
    split = min(max(-begin, 0), len(part))  # bins below zero stand at the spectrum's end
    if split:
        low_end = begin + split
        spectrum[wide + begin : wide + low_end] += part[:split]
    if split < len(part):
        spectrum[begin + split : end] += part[split:]


def emitters_for(
    scenario: Scenario,
    arrivals: Sequence[Sequence[Arrival]],
    rates: Rates,
    noise_power: float,
    random: np.random.Generator,
) -> list[Emitter]:
    """Return the scenario's stations and comb lines on the band of the (true) receiver.

    ``noise_power`` is the receiver's noise in the whole span, over full scale.
    """
    density = noise_power / rates.rate_hz
    center_hz = scenario.recording.center_frequency_hz * (1 + scenario.receiver.clock_error_ppm * 1e-6)
    emitters = [
        _station(station, each, rates, center_hz, density, scenario, random)
        for station, each in zip(scenario.transmitter, arrivals, strict=True)
    ]
    for comb in scenario.comb:
        emitters.extend(_comb_lines(comb, rates, center_hz, density, random))
    return emitters


def _station(
    station: Transmitter,
    arrivals: Sequence[Arrival],
    rates: Rates,
    center_hz: float,
    density: float,
    scenario: Scenario,
    random: np.random.Generator,
) -> Emitter:
    offset_hz = station.frequency_hz + station.offset_hz - center_hz
    shift_bins, rest_hz = _whole_bins(offset_hz, rates)
    own = np.random.default_rng(random.integers(2**63))
    if station.kind == "fm":
        rate_hz = rates.rate_hz / rates.fm_factor
        recording = scenario.recording
        fm = FmStation(station, rate_hz, rest_hz, recording.start_unix, recording.duration_s, own)
        amplitude = float(np.sqrt(density * station.bandwidth_hz))
        return Emitter(rates.fm_factor, shift_bins, amplitude, fm.read, arrivals)
    tone = Tone(rates.rate_hz / rates.carrier_factor, rest_hz, station.linewidth_hz, own)
    return Emitter(rates.carrier_factor, shift_bins, float(np.sqrt(density)), tone.read, arrivals)


def _whole_bins(offset_hz: float, rates: Rates) -> tuple[int, float]:
    bin_hz = rates.rate_hz / rates.block
    shift_bins = round(offset_hz / bin_hz)
    return shift_bins, offset_hz - shift_bins * bin_hz


def _comb_lines(
    comb: Comb, rates: Rates, center_hz: float, density: float, random: np.random.Generator
) -> list[Emitter]:
    """Return the lines of a comb in the band."""
    arrival = line_arrival(comb)
    amplitude = float(np.sqrt(density * SNR_BANDWIDTH_HZ))
    rate_hz, half_hz = rates.rate_hz / rates.carrier_factor, rates.rate_hz / 2
    lines = []
    for frequency_hz in line_frequencies_hz(comb, center_hz - half_hz, center_hz + half_hz):
        shift_bins, rest_hz = _whole_bins(frequency_hz - center_hz, rates)
        tone = Tone(rate_hz, rest_hz, LINE_WIDTH_HZ, np.random.default_rng(random.integers(2**63)))
        lines.append(Emitter(rates.carrier_factor, shift_bins, amplitude, tone.read, (arrival,)))
    return lines
