"""A receiver that delivers samples as they are taken, whatever connects it: times, gaps, coming back after a loss."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from skyglint.errors import SourceError
from skyglint.signals.band import Band
from skyglint.signals.block import Block, Encoding, Gap, SourceInfo
from skyglint.signals.lateness import Lateness, start_of

#: Samples right after the settings are still of the old ones, or of a tuner that settles: given up (common practice).
SETTLE_S = 0.3
#: Arrivals over this long fix the time of a stretch's first sample.
ANCHOR_S = 0.5
#: A loss shows in the least lateness within this time ...
WINDOW_S = 10.0
#: ... when it moves by more than this; steady buffers vary by less (common practice).
TOLERANCE_S = 0.05
#: A step of the computer's clock (or a replay that is faster than time), not drift.
CLOCK_STEP_S = 1.0
#: Pauses between attempts to reach a lost receiver, doubling from the first to the last.
FIRST_PAUSE_S, LAST_PAUSE_S = 0.5, 15.0


class Device(Protocol):
    """What connects a receiver: it opens, delivers bytes and closes, and raises ``SourceError`` when it cannot."""

    @property
    def name(self) -> str:
        """Address, for people and messages."""
        ...

    @property
    def encoding(self) -> Encoding:
        """How its samples are written."""
        ...

    @property
    def settings(self) -> Settings:
        """How the receiver is set, as it can be set."""
        ...

    def open(self) -> None:
        """Reach the receiver and make its settings."""
        ...

    def read_into(self, buffer: memoryview) -> int:
        """Wait for samples and return how many bytes of the buffer they took, at least one."""
        ...

    def close(self) -> None:
        """Let go of the receiver; harmless when it is not open."""
        ...


@dataclass(frozen=True, slots=True)
class Settings:
    """How a receiver is set; ``gain_db`` is ``None`` for its own gain control."""

    center_frequency_hz: float
    sample_rate_hz: float
    gain_db: float | None


class LiveSource:
    """Samples of a receiver, as a ``Source`` without an end.

    The time of a stretch's first sample comes from the computer's clock, less the samples that had arrived by then;
    after that samples are counted. The clock is watched: where it shows that samples were lost on the way, or drifts
    from the count by more than 50 ms, a new stretch begins. A lost receiver is sought again with rising pauses, and a
    ``Gap`` comes after each attempt, so that whoever reads is never left waiting.

    Parameters
    ----------
    device
        The receiver.
    clock, sleep
        POSIX seconds now, and how to wait.
    correction_ppm
        How much faster than stated the receiver's clock runs: the count of samples is held against the computer's
        clock by the true rate, so that a known error of the receiver's is not taken for lost samples.
    """

    def __init__(
        self,
        device: Device,
        clock: Callable[[], float] = time.time,
        sleep: Callable[[float], None] = time.sleep,
        correction_ppm: float = 0.0,
    ) -> None:
        self._device, self._clock, self._sleep = device, clock, sleep
        self._true_rate_hz = device.settings.sample_rate_hz * (1.0 + correction_ppm * 1e-6)
        self._number, self._end_unix = -1, float("nan")
        # Added to the clock after it was set back, so that times go on.
        self._shift_s = 0.0
        settings = device.settings
        band = Band.of_iq(settings.center_frequency_hz, settings.sample_rate_hz)
        self._info = SourceInfo(
            name=device.name,
            fingerprint="",
            encoding=device.encoding.name,
            sample_rate_hz=settings.sample_rate_hz,
            center_frequency_hz=band.center_hz,
            start_unix=clock(),
            end_unix=float("nan"),
            band_low_hz=band.low_hz,
            band_high_hz=band.high_hz,
        )

    @property
    def info(self) -> SourceInfo:
        """What is known before reading."""
        return self._info

    def blocks(self, block_s: float = 0.1) -> Iterator[Block | Gap]:
        """Yield blocks of about ``block_s`` seconds as they are taken, and gaps while there are none.

        Raises
        ------
        SourceError
            If the receiver cannot be reached, or delivers nothing, at the first attempt.
        """
        size = max(1, round(block_s * self._info.sample_rate_hz))
        pause_s = FIRST_PAUSE_S
        while True:
            try:
                self._device.open()
                for item in self._session(size):
                    pause_s = FIRST_PAUSE_S
                    yield item
            except SourceError as error:
                if self._number < 0:
                    raise
                yield self._lost_until(max(self._now(), self._end_unix), f"receiver lost: {error}")
            finally:
                self._device.close()
            self._sleep(pause_s)
            pause_s = min(2 * pause_s, LAST_PAUSE_S)

    def _session(self, size: int) -> Iterator[Block | Gap]:
        """Yield what one connection delivers; it ends by an error."""
        rate_hz = self._info.sample_rate_hz
        self._discard(round(SETTLE_S * rate_hz))
        ahead, start_unix = self._anchor(size * max(1, round(ANCHOR_S * rate_hz / size)))
        if self._number >= 0 and start_unix > self._end_unix:
            yield self._lost_until(start_unix, "receiver starting")
        elif self._number >= 0:
            start_unix = self._end_unix
        self._number += 1
        index, lateness = 0, Lateness(WINDOW_S)
        for block in self._cut(ahead, size, start_unix):
            yield block
            index += block.n_samples
        while True:
            block = self._block(self._fill(size), start_unix, index)
            late_s = self._now() - self._end_unix
            yield block
            index += size
            drift_s = lateness.add(index / self._true_rate_hz, late_s)
            if drift_s is not None and abs(drift_s) > TOLERANCE_S:
                yield self._correct(drift_s)
                start_unix, index, lateness = self._end_unix, 0, Lateness(WINDOW_S)

    def _anchor(self, n_samples: int) -> tuple[bytearray, float]:
        """Return the first samples and the time of the first of them."""
        data = bytearray(n_samples * self._device.encoding.bytes_per_sample)
        arrivals, done = [], 0
        while done < len(data):
            done += self._device.read_into(memoryview(data)[done:])
            arrivals.append((done // self._device.encoding.bytes_per_sample, self._now()))
        return data, start_of(arrivals, self._info.sample_rate_hz)

    def _cut(self, data: bytearray, size: int, start_unix: float) -> Iterator[Block]:
        step = size * self._device.encoding.bytes_per_sample
        for number, first in enumerate(range(0, len(data), step)):
            yield self._block(data[first : first + step], start_unix, number * size)

    def _block(self, data: bytearray, start_unix: float, index: int) -> Block:
        encoding, rate_hz = self._device.encoding, self._info.sample_rate_hz
        values = np.frombuffer(data, encoding.dtype)
        block = Block(values, encoding, self._number, start_unix, index, rate_hz, self._info.center_frequency_hz)
        self._end_unix = start_unix + (index + block.n_samples) / self._true_rate_hz
        return block

    def _fill(self, n_samples: int) -> bytearray:
        data = bytearray(n_samples * self._device.encoding.bytes_per_sample)
        done = 0
        while done < len(data):
            done += self._device.read_into(memoryview(data)[done:])
        return data

    def _discard(self, n_samples: int) -> None:
        step = max(1, round(0.1 * self._info.sample_rate_hz))
        while n_samples > 0:
            self._fill(min(step, n_samples))
            n_samples -= step

    def _correct(self, drift_s: float) -> Gap:
        """Begin a new stretch where count and clock no longer agree, and return the gap before it."""
        self._number += 1
        if drift_s > 0:
            reason = f"samples lost on the way, {drift_s:.3f} s by the computer's clock"
            return self._lost_until(self._end_unix + drift_s, reason)
        if drift_s <= -CLOCK_STEP_S:
            self._shift_s -= drift_s
            reason = f"computer's clock set back, or samples faster than time: {-drift_s:.3f} s; times go on by count"
            return self._lost_until(self._end_unix, reason)
        # The count runs ahead: what is read next was taken at times that have been delivered already.
        self._discard(round(-drift_s * self._info.sample_rate_hz))
        return self._lost_until(self._end_unix, f"samples ahead of the computer's clock, {-drift_s:.3f} s given up")

    def _lost_until(self, end_unix: float, reason: str) -> Gap:
        gap = Gap(self._end_unix, end_unix, reason)
        self._end_unix = end_unix
        return gap

    def _now(self) -> float:
        return self._clock() + self._shift_s
