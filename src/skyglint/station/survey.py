"""A survey of the listed transmitters: the power in each one's channel, the noise beside it, and whose it is."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skyglint.dsp.bank import FilterBank
from skyglint.dsp.frames import ChannelGrid, FrameBlock
from skyglint.fm.identity import Identity, identify
from skyglint.signals.block import Block, Source
from skyglint.site import Channel, Kind, Role
from skyglint.station.recent import Recent

Array = NDArray[np.float64]

#: Bandwidth in which a transmitter's power is taken. FM: nearly all of it, and little of a neighbour 200 kHz away. A
#: carrier: as far as a cheap receiver's clock may put it off, 30 ppm at 150 MHz.
MEASURED_HZ: Final[Mapping[Kind, float]] = {"fm": 150_000.0, "carrier": 10_000.0}
#: Part of the receiver's span that is used: its filters fall off towards the edges (common practice).
USED_SPAN: Final = 0.84
RASTER_HZ: Final = 100_000.0
#: The noise is that of the quieter of narrow slices of the whole band: between stations there is always room for some.
SLICE_HZ: Final = 20_000.0
QUIET_SHARE: Final = 0.1
#: A reading is the median of one-second powers over at most this long.
READING_S: Final = 600.0
_SECOND_FRAMES: Final = 100
#: Stations this far above the noise are asked for their programme code, by this much of their signal.
_ASKED_ABOVE_DB: Final = 10.0
_ASKED_S: Final = 2.0


@dataclass(frozen=True, slots=True)
class Reading:
    """The power on one frequency over some minutes.

    Attributes
    ----------
    start_unix, frequency_hz
        When it begins and where.
    bandwidth_hz, power_dbfs, noise_dbfs
        The measured bandwidth, and in it relative to full scale: all of the power, and the band's noise.
    spread_db
        Half the span that holds the middle 68 % of the one-second powers.
    pi
        Programme code read from the signal; empty where none was.
    """

    start_unix: float
    frequency_hz: float
    bandwidth_hz: float
    power_dbfs: float
    noise_dbfs: float
    spread_db: float
    pi: str = ""

    @property
    def rise_db(self) -> float:
        """Power over the noise."""
        return self.power_dbfs - self.noise_dbfs

    @property
    def signal_dbfs(self) -> float:
        """Power less the noise; NaN where the noise is all there is."""
        ratio = 10 ** (self.rise_db / 10) - 1
        return self.noise_dbfs + 10 * math.log10(ratio) if ratio > 0 else math.nan


def survey_channels(
    listed: Mapping[float, Kind], low_hz: float, high_hz: float
) -> tuple[tuple[Channel, ...], tuple[Channel, ...]]:
    """Return the channels of the stations within a band, and slices of the whole band to find its noise in.

    Parameters
    ----------
    listed
        Frequencies of the listed transmitters that may be received, and what stands there.
    low_hz, high_hz
        The usable band.
    """
    widths_hz = {frequency: MEASURED_HZ[kind] for frequency, kind in sorted(listed.items())}
    inside = {f: width for f, width in widths_hz.items() if low_hz + width / 2 <= f <= high_hz - width / 2}
    slices = np.arange(low_hz + SLICE_HZ / 2, high_hz - SLICE_HZ / 2, SLICE_HZ)
    return (
        tuple(_channel(f, "reference", width, listed[f]) for f, width in inside.items()),
        tuple(_channel(float(f), "guard", SLICE_HZ) for f in slices),
    )


def survey_source(
    source: Source,
    listed: Mapping[float, Kind],
    listed_pi: Mapping[float, Sequence[str]],
    correction_ppm: float = 0.0,
    longest_s: float = math.inf,
    progress: Callable[[float], None] | None = None,
) -> list[Reading]:
    """Measure every listed station within a source's band.

    Parameters
    ----------
    source
        A recording, or a receiver at one tuning.
    listed, listed_pi
        Frequencies of all listed transmitters with what stands there, and the programme codes listed for a frequency.
    correction_ppm
        How much faster than stated the receiver's clock runs.
    longest_s
        When to stop reading.
    progress
        Told the UTC up to which the source has been read.
    """
    info = source.info
    half = USED_SPAN * info.sample_rate_hz / 2
    low = max(info.band_low_hz, info.center_frequency_hz - half)
    high = min(info.band_high_hz, info.center_frequency_hz + half)
    stations, slices = survey_channels(listed, low, high)
    if not stations:
        return []
    bank = FilterBank((*stations, *slices), correction_ppm, (info.band_low_hz, info.band_high_hz))
    meter = _Meter(stations, slices, _Asker(listed_pi, correction_ppm))
    begun: float | None = None
    for item in source.blocks():
        if isinstance(item, Block):
            begun = item.start_unix if begun is None else begun
            meter.hear(item)
            frames = bank.process(item)
            if frames is not None:
                meter.add(frames, bank)
            if item.start_unix - begun >= longest_s:
                break
        if progress is not None:
            progress(item.start_unix)
    meter.finish()
    return meter.readings


class _Meter:
    """Gathers one-second powers of all channels, and makes readings of them."""

    def __init__(self, stations: Sequence[Channel], slices: Sequence[Channel], asker: _Asker) -> None:
        self._stations, self._asker = stations, asker
        self._widths_hz = [channel.bandwidth_hz for channel in (*stations, *slices)]
        self._recent = Recent(_ASKED_S + 1.0)
        self._pending: list[Array] = []
        self._seconds: list[Array] = []
        self._start_unix = math.nan
        self._last: Block | None = None
        self.readings: list[Reading] = []

    def hear(self, block: Block) -> None:
        """Keep the last samples."""
        self._recent.add(block)
        self._last = block

    def add(self, frames: FrameBlock, bank: FilterBank) -> None:
        """Take in frames of all channels."""
        if math.isnan(self._start_unix):
            self._start_unix = frames.start_unix
        geometry = bank.geometry
        assert geometry is not None  # the bank has just made frames
        self._pending.extend(_powers(frames, geometry.grids, self._widths_hz).T)
        while len(self._pending) >= _SECOND_FRAMES:
            self._seconds.append(np.mean(self._pending[:_SECOND_FRAMES], axis=0))
            del self._pending[:_SECOND_FRAMES]
        if frames.end_unix - self._start_unix >= READING_S:
            self.finish()

    def finish(self) -> None:
        """Make a reading of each station from what was gathered."""
        if self._seconds:
            table = np.stack(self._seconds)
            middle = np.median(table, axis=0)
            low, high = np.quantile(table, (0.16, 0.84), axis=0)
            noise_per_hz = float(np.quantile(middle[len(self._stations) :], QUIET_SHARE)) / SLICE_HZ
            for place, channel in enumerate(self._stations):
                noise = noise_per_hz * channel.bandwidth_hz
                rise_db = 10 * math.log10(max(middle[place] / noise, 1e-9))
                self.readings.append(
                    Reading(
                        start_unix=self._start_unix,
                        frequency_hz=channel.frequency_hz,
                        bandwidth_hz=channel.bandwidth_hz,
                        power_dbfs=_db(middle[place]),
                        noise_dbfs=_db(noise),
                        spread_db=(_db(high[place]) - _db(low[place])) / 2,
                        pi=self._asker.ask(channel, self._recent, self._last)
                        if self._worth_asking(channel, rise_db)
                        else "",
                    )
                )
        self._pending, self._seconds, self._start_unix = [], [], math.nan

    def _worth_asking(self, channel: Channel, rise_db: float) -> bool:
        return rise_db > _ASKED_ABOVE_DB and channel.bandwidth_hz == MEASURED_HZ["fm"]


class _Asker:
    """Reads programme codes, each frequency's until it is known."""

    def __init__(self, listed_pi: Mapping[float, Sequence[str]], correction_ppm: float) -> None:
        self._listed = listed_pi
        self._factor = 1.0 + correction_ppm * 1e-6
        self._known: dict[float, str] = {}

    def ask(self, channel: Channel, recent: Recent, last: Block | None) -> str:
        """Return the code of the station on a channel, from the last samples."""
        frequency = channel.frequency_hz
        if not self._known.get(frequency) and last is not None and last.encoding.components == 2:
            end_unix = last.start_unix + last.n_samples / last.sample_rate_hz
            excerpt = recent.excerpt(end_unix - _ASKED_S, end_unix)
            if excerpt is not None and excerpt.sample_rate_hz >= channel.bandwidth_hz:
                offset_hz = frequency - excerpt.center_frequency_hz * self._factor
                codes = [code for code in self._listed.get(frequency, ()) if code]
                self._known[frequency] = self._read(excerpt.samples, excerpt.sample_rate_hz, offset_hz, codes).pi
        return self._known.get(frequency, "")

    def _read(self, samples: NDArray[np.complex64], rate_hz: float, offset_hz: float, codes: Sequence[str]) -> Identity:
        return identify(samples, rate_hz * self._factor, offset_hz, candidates=codes)


def tunings_hz(frequencies_hz: Sequence[float], sample_rate_hz: float) -> Iterator[float]:
    """Yield centre frequencies at which a receiver takes in all of the frequencies, lowest first.

    Each stands a quarter of the raster off it, so that the receiver's own spike meets no station's carrier.
    """
    width = USED_SPAN * sample_rate_hz - MEASURED_HZ["fm"]
    left = sorted(frequencies_hz)
    while left:
        reach = left[0] + width - RASTER_HZ / 2
        yield (left[0] + reach) / 2 // RASTER_HZ * RASTER_HZ + RASTER_HZ / 4
        left = [f for f in left if f > reach]


def _channel(frequency_hz: float, role: Role, bandwidth_hz: float, kind: Kind = "fm") -> Channel:
    return Channel(
        name=f"{frequency_hz:.0f} Hz",
        role=role,
        kind=kind,
        frequency_hz=float(frequency_hz),
        bandwidth_hz=bandwidth_hz,
    )


def _powers(frames: FrameBlock, grids: Sequence[ChannelGrid | None], widths_hz: Sequence[float]) -> Array:
    """Return the power of each channel in each frame, shape (channels, frames), the receiver's own spike left out.

    A channel that is all spike is infinite: never quiet.
    """
    rows = []
    for channel, grid, width_hz in zip(frames.spectra, grids, widths_hz, strict=True):
        assert grid is not None  # all channels were laid within the band
        used = channel[:, grid.usable]
        power = used.mean(axis=1, dtype=np.float64) if used.shape[1] else np.full(len(channel), np.inf)
        rows.append(power * width_hz / grid.bin_hz)
    return np.stack(rows)


def _db(power: float) -> float:
    return 10 * math.log10(max(power, 1e-20))
