"""The filter bank: raw samples in, frames of all channels out, in one pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.fft import fft

from skyglint.dsp.carriers import Decimator, carrier_spectra, spectrum_margin
from skyglint.dsp.frames import FrameBlock
from skyglint.dsp.geometry import BankGeometry, CarrierRange, FmRange, plan_bank
from skyglint.dsp.kernels import Kernels, load_kernels, runs_of
from skyglint.dsp.prototype import FOLDS
from skyglint.dsp.survey import UPDATE_FRAMES, ImageEstimate, level_of
from skyglint.signals.block import Block
from skyglint.signals.encodings import rails
from skyglint.site import Channel

#: Frames transformed at a time: few, so that the work stays in the processor's cache.
FRAMES_AT_ONCE = 4


class FilterBank:
    """Turn blocks of samples into frames.

    Ready when constructed; a new stretch (after a gap, retuning or change of rate) starts it anew by itself. Cutting
    the stream elsewhere changes nothing.

    Parameters
    ----------
    channels
        What to watch; channels outside the source's band yield empty spectra.
    correction_ppm
        How much faster than stated the receiver's clock runs.
    band_hz
        Radio frequencies that the source can show; ``None`` for the whole span around the centre.
    kernels
        Inner loops; default: compiled where numba is there.
    """

    def __init__(
        self,
        channels: Sequence[Channel],
        correction_ppm: float = 0.0,
        band_hz: tuple[float, float] | None = None,
        kernels: Kernels | None = None,
    ) -> None:
        self._channels = tuple(channels)
        self._correction_ppm = correction_ppm
        self._band_hz = band_hz
        self._kernels = kernels or load_kernels()
        self.reset()

    def reset(self) -> None:
        """Forget the stretch."""
        self._stretch: int | None = None
        self._geometry: BankGeometry | None = None
        self._plan: _StretchPlan | None = None

    @property
    def geometry(self) -> BankGeometry | None:
        """The plan of the present stretch, from its first block on."""
        return self._geometry

    def process(self, block: Block) -> FrameBlock | None:
        """Return the frames that this block completes, or ``None`` where it completes none."""
        if block.stretch != self._stretch or self._plan is None:
            self._begin(block)
        assert self._plan is not None
        return self._plan.process(block.values)

    def _begin(self, block: Block) -> None:
        rate, center = block.sample_rate_hz, block.center_frequency_hz
        band = self._band_hz or (center - rate / 2, center + rate / 2)
        self._geometry = plan_bank(self._channels, rate, center, self._correction_ppm, band)
        self._stretch = block.stretch
        self._plan = _StretchPlan(self._geometry, block, self._kernels)


class _StretchPlan:
    """The state of one stretch: leftover samples, and what its sizes and encoding fix once."""

    def __init__(self, geometry: BankGeometry, first: Block, kernels: Kernels) -> None:
        self._geometry = geometry
        self._kernels = kernels
        self._encoding = first.encoding
        self._stretch = first.stretch
        # A stretch that we join late (a first block that does not begin it) counts from where we join.
        self._start_unix = first.stretch_start_unix + first.sample_index / geometry.sample_rate_hz
        self._components = first.encoding.components
        self._set_taps()
        self._set_fm()
        self._set_carriers()
        self._leftover: NDArray[Any] = np.zeros(0, dtype=first.values.dtype)
        self._frame = 0
        self._image = ImageEstimate()
        hops = FRAMES_AT_ONCE * geometry.hops
        self._folded = np.empty((hops, geometry.n_bins * self._components), dtype=np.float32)

    def _set_taps(self) -> None:
        n_bins, encoding = self._geometry.n_bins, self._encoding
        window = self._geometry.window.reshape(FOLDS, n_bins) / encoding.full_scale
        taps = np.repeat(window, self._components, axis=1)
        self._taps = np.ascontiguousarray(taps, dtype=np.float32)
        self._bias = np.asarray(-encoding.zero * taps.sum(axis=0), dtype=np.float32)

    def _set_fm(self) -> None:
        fm = [item for item in self._geometry.ranges if isinstance(item, FmRange)]
        self._bins = np.concatenate([item.bins for item in fm]) if fm else np.zeros(0, dtype=np.int64)
        self._runs = runs_of(self._bins)

    def _set_carriers(self) -> None:
        geometry = self._geometry
        self._decimators: dict[int, tuple[CarrierRange, Decimator, int]] = {}
        before = 0
        after = (FOLDS - 1) * geometry.n_bins
        for place, plan in enumerate(geometry.ranges):
            if not isinstance(plan, CarrierRange):
                continue
            half = -plan.grid.offsets_hz[0]
            decimator = Decimator(geometry.sample_rate_hz, plan.offset_hz, plan.decimation, half)
            per_frame = geometry.frame_samples // plan.decimation
            reach = decimator.margin + spectrum_margin(plan, per_frame) * plan.decimation
            before, after = max(before, reach), max(after, reach + plan.decimation)
            self._decimators[place] = (plan, decimator, per_frame)
        frame = geometry.frame_samples
        self._frames_before = -(-before // frame)
        self._samples_after = after

    def process(self, values: NDArray[Any]) -> FrameBlock | None:
        """Return the frames that these values complete.

        Only as many values as complete the frames begun before are copied together with what was left over; the rest
        is worked on where it lies.
        """
        frame = self._geometry.frame_samples * self._components
        begun = -(-len(self._leftover) // frame)
        joint = begun * frame + self._samples_after * self._components - len(self._leftover)
        if self._decimators or not begun or joint + frame > len(values):
            return self._step(np.concatenate([self._leftover, values]))
        offset = begun * frame - len(self._leftover)
        first = self._step(np.concatenate([self._leftover, values[:joint]]))
        return _joined(first, self._step(values[offset:]))

    def _step(self, values: NDArray[Any]) -> FrameBlock | None:
        frame = self._geometry.frame_samples * self._components
        before = min(self._frame, self._frames_before) * frame
        count = (len(values) - before - self._samples_after * self._components) // frame
        if count < 1:
            self._leftover = values
            return None
        result = self._frames(values, before, count)
        self._frame += count
        keep = min(self._frame, self._frames_before) * frame
        self._leftover = values[before + count * frame - keep :].copy()
        return result

    def _frames(self, values: NDArray[Any], before: int, count: int) -> FrameBlock:
        geometry = self._geometry
        fm_power = np.empty((count, len(self._bins)), dtype=np.float32)
        frame = geometry.frame_samples * self._components
        sums = self._survey(values[before : before + count * frame].reshape(count, geometry.hops, -1))
        first = 0
        while first < count:
            due = UPDATE_FRAMES - (self._frame + first) % UPDATE_FRAMES
            frames = min(FRAMES_AT_ONCE, count - first, due)
            if len(self._bins):
                self._transform(values[before + first * frame :], frames, fm_power[first : first + frames])
            if self._components == 2:
                self._image.add(sums[first : first + frames].sum(axis=0))
                if frames == due:
                    self._image.update()
            first += frames
        spectra, basebands, baseband_rate = self._assemble(values, before, count, fm_power)
        return FrameBlock(
            stretch=self._stretch,
            start_unix=self._start_unix + self._frame * geometry.frame_s,
            first_frame=self._frame,
            frame_s=geometry.frame_s,
            spectra=spectra,
            basebands=basebands,
            baseband_rate_hz=baseband_rate,
            clipped=(sums[:, 6] / (sums[:, 5] * self._components)).astype(np.float32),
            level=level_of(sums, self._encoding),
        )

    def _transform(self, values: NDArray[Any], frames: int, power: NDArray[np.float32]) -> None:
        hops, width = frames * self._geometry.hops, self._geometry.n_bins * self._components
        out = self._folded[:hops]
        self._kernels.fold(values[: (hops + FOLDS - 1) * width], self._taps, self._bias, out)
        samples = out.view(np.complex64) if self._components == 2 else out.astype(np.complex64)
        transform = fft(samples, axis=1, overwrite_x=True)
        self._kernels.bin_power(transform, self._runs, self._image.value, self._geometry.hops, power)

    def _survey(self, frames: NDArray[Any]) -> NDArray[np.float64]:
        low, high = rails(self._encoding)
        if self._components == 2:
            return self._kernels.moments(frames, low, high)
        # Real samples: I is the sample and Q is at rest, at the encoding's zero; only the level and the rails matter.
        real = frames.reshape(len(frames), -1).astype(np.float64)
        count = np.full(len(frames), float(real.shape[1]))
        beyond = ((real <= low) | (real >= high)).sum(axis=1)
        rest = self._encoding.zero
        return np.stack(
            [real.sum(1), rest * count, (real**2).sum(1), rest**2 * count, rest * real.sum(1), count, beyond], axis=1
        )

    def _assemble(
        self, values: NDArray[Any], before: int, count: int, fm_power: NDArray[np.float32]
    ) -> tuple[tuple[NDArray[np.float32], ...], tuple[NDArray[np.complex64] | None, ...], float]:
        spectra: list[NDArray[np.float32]] = []
        basebands: list[NDArray[np.complex64] | None] = []
        rate, column = 0.0, 0
        samples = self._complex(values) if self._decimators else np.zeros(0, dtype=np.complex64)
        for place, plan in enumerate(self._geometry.ranges):
            baseband = None
            if isinstance(plan, FmRange):
                spectra.append(fm_power[:, column : column + len(plan.bins)])
                column += len(plan.bins)
            elif isinstance(plan, CarrierRange):
                power, baseband = self._carrier(samples, place, before // self._components, count)
                spectra.append(power)
                rate = self._geometry.sample_rate_hz / plan.decimation
            else:
                spectra.append(np.zeros((count, 0), dtype=np.float32))
            basebands.append(baseband)
        return tuple(spectra), tuple(basebands), rate

    def _complex(self, values: NDArray[Any]) -> NDArray[np.complex64]:
        scaled = (values.astype(np.float32) - np.float32(self._encoding.zero)) / np.float32(self._encoding.full_scale)
        return scaled.view(np.complex64) if self._components == 2 else scaled.astype(np.complex64)

    def _carrier(
        self, samples: NDArray[np.complex64], place: int, before: int, count: int
    ) -> tuple[NDArray[np.float32], NDArray[np.complex64]]:
        plan, decimator, per_frame = self._decimators[place]
        frame = self._geometry.frame_samples
        look = spectrum_margin(plan, per_frame)
        reach = decimator.margin + look * plan.decimation
        end = before + count * frame + reach + plan.decimation
        start = before - reach
        # The first frames of a stretch have nothing before them: zeros.
        piece = samples[max(start, 0) : end]
        piece = np.concatenate([np.zeros(max(-start, 0), dtype=np.complex64), piece])
        wanted = (count * per_frame + 2 * look + 1) * plan.decimation + 2 * decimator.margin
        baseband = decimator.run(piece[:wanted], self._frame * frame - look * plan.decimation)
        power = carrier_spectra(baseband, plan, count, per_frame)
        return power, baseband[look : look + count * per_frame].copy()


def _joined(first: FrameBlock | None, second: FrameBlock | None) -> FrameBlock | None:
    """Return two consecutive blocks of FM frames as one."""
    if first is None or second is None:
        return first or second
    return replace(
        first,
        spectra=tuple(np.concatenate(pair) for pair in zip(first.spectra, second.spectra, strict=True)),
        clipped=np.concatenate([first.clipped, second.clipped]),
        level=np.concatenate([first.level, second.level]),
    )
