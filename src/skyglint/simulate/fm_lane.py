"""Frames of one FM channel, drawn from the distribution of their bin powers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.frames import ChannelGrid
from skyglint.dsp.geometry import BankGeometry
from skyglint.dsp.prototype import FOLDS, prototype_window
from skyglint.simulate.arrival import Arrival
from skyglint.simulate.comb import SNR_BANDWIDTH_HZ, line_arrival, line_frequencies_hz
from skyglint.simulate.multiplex import FmStation
from skyglint.simulate.scenario import Scenario, Transmitter
from skyglint.simulate.schedule import Schedule
from skyglint.site import Channel

_LIBRARY_S = 6.0  # length of programme whose spectra are used again and again
_STEPS = 20  # looks at an envelope within a frame
_LEAST_FM_HZ = 300_000.0


class FmLane:
    """One channel of kind ``fm``: noise, the stations in it, and disturbances.

    With noise N and signal S behind a bin (means over the frame's k independent samples), the bin's power has mean
    N + S and variance (N^2 + 2 N S) / k: a noncentral chi-square, drawn as the gamma of the same mean and variance by
    Wilson and Hilferty's cube (Proc. Natl. Acad. Sci. 17, 684 (1931)).
    """

    rate_hz = 0.0

    def __init__(
        self,
        channel: Channel,
        grid: ChannelGrid,
        geometry: BankGeometry,
        scenario: Scenario,
        happening: Schedule,
        random: np.random.Generator,
    ) -> None:
        self._grid, self._frame_s, self._random = grid, geometry.frame_s, random
        self._density = 10 ** (scenario.recording.noise_dbfs / 10) / geometry.sample_rate_hz
        self._stations = [
            _Station(station, arrivals, spectra_library(station, grid, geometry, random), random)
            for station, arrivals in zip(scenario.transmitter, happening.arrivals, strict=True)
            if station.channel == channel.name and arrivals
        ]
        self._combs = [(comb, line_arrival(comb)) for comb in scenario.comb]
        self._frequency_hz = channel.frequency_hz

    def begin_stretch(self) -> None:
        """Do nothing: frames of this kind do not depend on those before."""

    def read(
        self,
        start_s: float,
        n: int,
        gain: NDArray[np.float32],
        extra: NDArray[np.float64],
        extra_square: NDArray[np.float64],
    ) -> tuple[NDArray[np.float32], None, NDArray[np.float64]]:
        """Return the bin powers of ``n`` frames, no baseband, and the power of all stations in each frame.

        ``extra`` is the disturbances' noise over the receiver's (mean over the frame), ``extra_square`` the mean of its
        square; the receiver's ``gain`` (power) multiplies all.
        """
        noise = np.float32(self._density * self._grid.bin_hz)
        signal, spectrum = self._heard(start_s, n)
        spectrum = self._with_combs(spectrum, start_s, n)
        power = self._random.standard_normal((n, len(self._grid.offsets_hz)), dtype=np.float32)
        quiet = extra == 0 if spectrum is None else (extra == 0) & ~spectrum.any(axis=1)
        spread = np.float32(1 / (9 * self._grid.samples_per_frame))
        for begin, end in _runs(quiet):
            self._shape(power[begin:end], noise, spread)
        for begin, end in _runs(~quiet):
            rows = slice(begin, end)
            local = (noise * (1 + extra[rows, None])).astype(np.float32)
            # Mean square over squared mean of the noise within the frame: 1 when steady, more when it is impulsive.
            uneven = ((1 + 2 * extra[rows] + extra_square[rows]) / (1 + extra[rows]) ** 2).astype(np.float32)
            added = np.float32(0) if spectrum is None else spectrum[rows]
            total = local + added
            relative = (local**2 * uneven[:, None] + 2 * local * added) / total**2
            self._shape(power[rows], total, spread * relative)
        power *= gain[:, None]
        return power, None, signal

    def _heard(self, start_s: float, n: int) -> tuple[NDArray[np.float64], NDArray[np.float32] | None]:
        """Return the stations' power in each frame, and in each bin of each frame (``None``: nothing is heard)."""
        signal = np.zeros(n)
        spectrum: NDArray[np.float32] | None = None
        first = round(start_s / self._frame_s)
        for station in self._stations:
            power, _ = frame_means(station.arrivals, start_s, self._frame_s, n)
            if not power.any():
                continue
            power *= self._density * station.bandwidth_hz
            signal += power
            part = station.shares(first, n) * power[:, None].astype(np.float32)
            spectrum = part if spectrum is None else spectrum + part
        return signal, spectrum

    @staticmethod
    def _shape(
        value: NDArray[np.float32], mean: NDArray[np.float32] | np.float32, spread: NDArray[np.float32] | np.float32
    ) -> None:
        """Turn standard normal values, in place, into gamma values of this mean and relative variance 9 ``spread``."""
        value *= np.sqrt(spread)
        value += 1 - spread
        np.maximum(value, 0, out=value)
        square = value * value
        value *= square
        value *= mean

    def _with_combs(self, spectrum: NDArray[np.float32] | None, start_s: float, n: int) -> NDArray[np.float32] | None:
        """Add the lines of combs, each to its nearest bin."""
        middle_s = start_s + (np.arange(n) + 0.5) * self._frame_s
        for comb, arrival in self._combs:
            power, _ = frame_means([arrival], start_s, self._frame_s, n)
            if not power.any():
                continue
            if spectrum is None:
                spectrum = np.zeros((n, len(self._grid.offsets_hz)), dtype=np.float32)
            power *= self._density * SNR_BANDWIDTH_HZ
            drift_hz = comb.drift_hz_s * (middle_s - comb.start_s)
            reach_hz = self._grid.bin_hz + float(np.abs(drift_hz[power > 0]).max())
            low_hz, high_hz = self._frequency_hz + self._grid.offsets_hz[[0, -1]]
            for line_hz in line_frequencies_hz(comb, low_hz - reach_hz, high_hz + reach_hz):
                place = (line_hz + drift_hz - low_hz) / self._grid.bin_hz
                frames = np.flatnonzero((power > 0) & (place >= -0.5) & (place < spectrum.shape[1] - 0.5))
                spectrum[frames, np.rint(place[frames]).astype(np.intp)] += power[frames].astype(np.float32)
        return spectrum


def _runs(mask: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return (begin, end) of the runs of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(begin), int(end)) for begin, end in edges.reshape(-1, 2)]


class _Station:
    def __init__(
        self,
        station: Transmitter,
        arrivals: Sequence[Arrival],
        library: NDArray[np.float32],
        random: np.random.Generator,
    ) -> None:
        self.arrivals, self.bandwidth_hz = arrivals, station.bandwidth_hz
        self._library = library
        self._offset = int(random.integers(len(library)))

    def shares(self, first: int, n: int) -> NDArray[np.float32]:
        """Return the share of the station's power in each bin of ``n`` frames, programme running on."""
        return self._library[(self._offset + first + np.arange(n)) % len(self._library)]


def frame_means(
    arrivals: Sequence[Arrival], start_s: float, frame_s: float, n: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the mean power of the arrivals together in each of ``n`` frames, and the mean of its square."""
    mean, square = np.zeros(n), np.zeros(n)
    active = [each for each in arrivals if each.end_s > start_s and each.start_s < start_s + n * frame_s]
    if not active:
        return mean, square
    begin = max(int((min(each.start_s for each in active) - start_s) / frame_s), 0)
    end = min(int((max(each.end_s for each in active) - start_s) / frame_s) + 1, n)
    step_s = frame_s / _STEPS
    inner_s = start_s + begin * frame_s + step_s / 2
    count = (end - begin) * _STEPS
    gain = active[0].at(inner_s, step_s, count)
    for arrival in active[1:]:
        gain += arrival.at(inner_s, step_s, count)
    power = (gain.real.astype(np.float64) ** 2 + gain.imag.astype(np.float64) ** 2).reshape(-1, _STEPS)
    mean[begin:end], square[begin:end] = power.mean(axis=1), (power**2).mean(axis=1)
    return mean, square


def spectra_library(
    station: Transmitter, grid: ChannelGrid, geometry: BankGeometry, random: np.random.Generator
) -> NDArray[np.float32]:
    """Return spectra of the station's own modulation, shape (frames, bins): shares of its power, frame by frame.

    Made with the simulator's transmitter and the filter bank's window, at the bank's bin width.
    """
    from scipy.fft import fft

    n = int(np.ceil(_LEAST_FM_HZ / grid.bin_hz))
    rate_hz = n * grid.bin_hz
    # Bins of the transform stand at multiples of the bin width: shift the station onto the channel's own.
    first = round(grid.offsets_hz[0] / grid.bin_hz)
    rest_hz = first * grid.bin_hz - grid.offsets_hz[0]
    source = FmStation(station, rate_hz, station.offset_hz + rest_hz, 0.0, _LIBRARY_S + 1, random)
    window = prototype_window(n).reshape(FOLDS, n).astype(np.float32)
    bins = (first + np.arange(len(grid.offsets_hz))) % n
    frames = int(_LIBRARY_S / geometry.frame_s)
    library = np.empty((frames, len(bins)), dtype=np.float32)
    at_once = 100
    for begin in range(0, frames, at_once):
        count = min(at_once, frames - begin)
        hops = count * geometry.hops
        samples = source.read(begin * geometry.hops * n, (hops + FOLDS - 1) * n).reshape(-1, n)
        folded = sum(samples[fold : fold + hops] * window[fold] for fold in range(FOLDS))
        power = np.abs(fft(folded, axis=1)[:, bins]) ** 2
        library[begin : begin + count] = power.reshape(count, geometry.hops, -1).mean(axis=1)
    return library
