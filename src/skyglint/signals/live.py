"""A receiver that delivers samples as they are taken, whatever connects it: times, gaps, coming back after a loss."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from skyglint.errors import SourceError
from skyglint.signals.band import Band
from skyglint.signals.block import Block, Encoding, Gap, SourceInfo
from skyglint.signals.lateness import Lateness, start_of
from skyglint.signals.plausible import STUCK, block_samples, cell_samples, is_stuck, lose_nonsense

#: Samples right after the settings are still of the old ones, or of a tuner that settles: given up (common practice).
SETTLE_S = 0.3
#: Arrivals over this long fix the time of a stretch's first sample.
ANCHOR_S = 0.5
#: A loss shows in the least lateness within this time ...
WINDOW_S = 10.0
#: ... when it moves by more than this; steady buffers vary by less (common practice).
TOLERANCE_S = 0.05
#: Samples that come faster than they are taken for longer than this are a replay faster than time; for less, a jump.
FASTER_S, FASTER_PACE = 5.0, 1.2
#: A pace is measured over this time.
PACE_S = 1.0
#: More than this is a step of the computer's clock, where that moves against the clock that is never set.
CLOCK_STEP_S = 0.5
#: A block that comes this much later than it should have followed a pause: were samples lost in it, or held back?
PAUSE_S = 0.2
#: Pauses between attempts to reach a lost receiver, doubling from the first to the last: back within ten seconds.
FIRST_PAUSE_S, LAST_PAUSE_S = 0.5, 4.0


class EndOfSamples(Exception):
    """Raised by a device that will never deliver anything again."""


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
    """Samples of a receiver, as a ``Source`` that ends only where its device does.

    The time of a stretch's first sample comes from the computer's clock, less the samples that had arrived by then;
    after that samples are counted. The clock is watched: where it shows that samples were lost on the way, or drifts
    from the count by more than 50 ms, a new stretch begins. After a pause the next blocks are held back until they tell
    whether samples were lost in it, so that those after it are not timed too early meanwhile. A block of one value is a
    ``Gap``: the receiver is deaf. A lost receiver is sought again with rising pauses, and a ``Gap`` comes after each
    attempt, so that whoever reads is never left waiting.

    Parameters
    ----------
    device
        The receiver.
    clock, sleep, monotonic
        POSIX seconds now, how to wait, and a clock that is never set.
    correction_ppm
        How much faster than stated the receiver's clock runs: the count of samples is held against the computer's
        clock by the true rate, so that a known error of the receiver's is not taken for lost samples.
    settle_s
        Time after opening whose samples are given up.
    """

    def __init__(
        self,
        device: Device,
        clock: Callable[[], float] = time.time,
        sleep: Callable[[float], None] = time.sleep,
        correction_ppm: float = 0.0,
        monotonic: Callable[[], float] = time.monotonic,
        settle_s: float = SETTLE_S,
    ) -> None:
        self._settle_s = settle_s
        self._device, self._clock, self._sleep, self._monotonic = device, clock, sleep, monotonic
        self._true_rate_hz = device.settings.sample_rate_hz * (1.0 + correction_ppm * 1e-6)
        self._number, self._end_unix = -1, float("nan")
        self._start_unix, self._index, self._lateness = float("nan"), 0, Lateness(WINDOW_S)
        # The last arrivals: samples of the stretch, and the clock that is never set.
        self._arrivals: deque[tuple[int, float]] = deque()
        self._ahead_since_s: float | None = None
        self._clock_offset_s = 0.0
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
        rate_hz, encoding = self._info.sample_rate_hz, self._device.encoding
        items = self._items(block_samples(block_s, rate_hz, encoding))
        return lose_nonsense(items, cell_samples(rate_hz)) if encoding.dtype.kind == "f" else items

    def _items(self, size: int) -> Iterator[Block | Gap]:
        pause_s = FIRST_PAUSE_S
        while True:
            try:
                self._device.open()
                for item in self._session(size):
                    pause_s = FIRST_PAUSE_S
                    yield item
            except EndOfSamples:
                return
            except SourceError as error:
                if self._number < 0:
                    raise
                # Coverage is published: where the receiver is to be found is nobody's business.
                why = str(error).removeprefix(f"{self._device.name}: ")
                yield self._lost_until(max(self._now(), self._end_unix), f"receiver lost: {why}")
            finally:
                self._device.close()
            self._sleep(pause_s)
            pause_s = min(2 * pause_s, LAST_PAUSE_S)

    def _session(self, size: int) -> Iterator[Block | Gap]:
        """Yield what one connection delivers; it ends by an error."""
        rate_hz = self._info.sample_rate_hz
        self._discard(round(self._settle_s * rate_hz))
        ahead, start_unix = self._anchor(size * max(1, round(ANCHOR_S * rate_hz / size)))
        if self._number >= 0 and start_unix > self._end_unix:
            yield self._lost_until(start_unix, "receiver starting")
        elif self._number >= 0:
            start_unix = self._end_unix
        self._begin(start_unix)
        yield from self._cut(ahead, size)
        while True:
            lost_s, arrivals = self._arrive(size)
            if lost_s > TOLERANCE_S:
                yield self._correct(lost_s)
            for data, at_unix in arrivals:
                yield self._taken(data)
                self._note_arrival()
                drift_s = self._lateness.add(self._index / self._true_rate_hz, at_unix - self._end_unix)
                if drift_s is None:
                    # Too early to say that samples are late; that they came before their time is certain.
                    drift_s = min(self._lateness.least_s, 0.0)
                if abs(drift_s) > TOLERANCE_S and not self._may_pass(drift_s):
                    yield self._correct(drift_s)

    def _begin(self, start_unix: float) -> None:
        """Begin a new stretch."""
        self._number += 1
        self._start_unix, self._index, self._lateness = start_unix, 0, Lateness(WINDOW_S)
        self._clock_offset_s = self._clock() - self._monotonic()
        self._ahead_since_s = None
        self._arrivals.clear()

    def _note_arrival(self) -> None:
        now = self._monotonic()
        self._arrivals.append((self._index, now))
        while now - self._arrivals[0][1] > PACE_S and len(self._arrivals) > 2:
            self._arrivals.popleft()

    def _clock_step_s(self) -> float:
        """Return by how much the computer's clock was set since the stretch began."""
        return self._clock() - self._monotonic() - self._clock_offset_s

    def _pace(self) -> float:
        """Return how many times faster than they are taken samples have come of late; infinite for all at once."""
        (first, since), (last, until) = self._arrivals[0], self._arrivals[-1]
        return (last - first) / self._true_rate_hz / (until - since) if until > since else float("inf")

    def _may_pass(self, drift_s: float) -> bool:
        """Tell whether it is too early to say what samples ahead of time mean: they still come too fast."""
        if drift_s > 0 or abs(self._clock_step_s()) > CLOCK_STEP_S:
            return False
        if self._ahead_since_s is None:
            self._ahead_since_s = self._monotonic()
        ahead_for_s = self._monotonic() - self._ahead_since_s
        return ahead_for_s < PACE_S or (ahead_for_s < FASTER_S and self._pace() > FASTER_PACE)

    def _arrive(self, size: int) -> tuple[float, list[tuple[bytearray, float]]]:
        """Return how much was lost on the way, and then the next block and when it came; several after a pause.

        Blocks of samples that were only held back come faster than they were taken; after a loss they keep their pace.
        """
        block_s = size / self._true_rate_hz
        arrivals = [(self._fill(size), self._now())]
        late_s = arrivals[0][1] - self._end_unix - block_s - self._lateness.least_s
        if late_s <= PAUSE_S:
            return 0.0, arrivals
        # The first block, which was being read through the pause, says nothing yet.
        n_held = max(2, round(ANCHOR_S / block_s))
        arrivals += [(self._fill(size), self._now()) for _ in range(n_held)]
        lates_s = [late_s + at_unix - arrivals[0][1] - place * block_s for place, (_, at_unix) in enumerate(arrivals)]
        held_back = lates_s[0] - lates_s[-1] > 0.5 * n_held * block_s
        return 0.0 if held_back else min(lates_s), arrivals

    def _taken(self, data: bytearray) -> Block | Gap:
        """Return the next block of the stretch; a gap where the receiver is stuck, and then the stretch ends."""
        block = self._block(data)
        if not is_stuck(block):
            return block
        self._begin(self._end_unix)
        return Gap(block.start_unix, self._end_unix, STUCK)

    def _anchor(self, n_samples: int) -> tuple[bytearray, float]:
        """Return the first samples and the time of the first of them."""
        data = bytearray(n_samples * self._device.encoding.bytes_per_sample)
        arrivals, done = [], 0
        while done < len(data):
            done += self._device.read_into(memoryview(data)[done:])
            arrivals.append((done // self._device.encoding.bytes_per_sample, self._now()))
        return data, start_of(arrivals, self._info.sample_rate_hz)

    def _cut(self, data: bytearray, size: int) -> Iterator[Block | Gap]:
        step = size * self._device.encoding.bytes_per_sample
        for first in range(0, len(data), step):
            yield self._taken(data[first : first + step])

    def _block(self, data: bytearray) -> Block:
        encoding, rate_hz, center_hz = self._device.encoding, self._info.sample_rate_hz, self._info.center_frequency_hz
        values = np.frombuffer(data, encoding.dtype)
        block = Block(values, encoding, self._number, self._start_unix, self._index, rate_hz, center_hz)
        self._index += block.n_samples
        self._end_unix = self._start_unix + self._index / self._true_rate_hz
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
        clock_was_set = abs(self._clock_step_s()) > CLOCK_STEP_S
        if drift_s > 0:
            what = "computer's clock set forward, or it slept" if clock_was_set else "samples lost on the way"
            gap = self._lost_until(self._end_unix + drift_s, f"{what}, {drift_s:.3f} s by the computer's clock")
        elif clock_was_set or self._pace() > FASTER_PACE:
            self._shift_s -= drift_s
            what = "computer's clock set back" if clock_was_set else "samples come faster than time"
            gap = self._lost_until(self._end_unix, f"{what}: {-drift_s:.3f} s; times go on by count")
        else:
            # The count runs ahead: what is read next was taken at times that have been delivered already.
            self._discard(round(-drift_s * self._info.sample_rate_hz))
            gap = self._lost_until(self._end_unix, f"samples ahead of the computer's clock, {-drift_s:.3f} s given up")
        self._begin(self._end_unix)
        return gap

    def _lost_until(self, end_unix: float, reason: str) -> Gap:
        gap = Gap(self._end_unix, end_unix, reason)
        self._end_unix = end_unix
        return gap

    def _now(self) -> float:
        return self._clock() + self._shift_s
