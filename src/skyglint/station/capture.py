"""Capture: a thread that reads the source into a bounded queue, so that nothing downstream can cost a sample early.

When the computer cannot keep up, the queue fills; what no longer fits is dropped and becomes a gap that says so. Time
is never bent to hide it.
"""

from __future__ import annotations

import queue
import threading

from skyglint.errors import SkyglintError
from skyglint.signals.block import Block, Gap, Source

TOO_SLOW = "the computer could not keep up"
#: Once the queue is full, samples are dropped until it is only so full: a few long gaps cost less than many short ones.
DROP_TO = 0.5


class Capture:
    """Reads a source in a thread of its own.

    Parameters
    ----------
    source
        What to read.
    capacity_s
        Seconds of samples that the queue holds.
    block_s
        Length of a block.
    """

    def __init__(self, source: Source, capacity_s: float = 8.0, block_s: float = 0.1) -> None:
        self._source = source
        self._block_s = block_s
        self._capacity = max(2, round(capacity_s / block_s))
        self._queue: queue.Queue[Block | Gap | None] = queue.Queue()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._read, name="capture", daemon=True)
        self.error: SkyglintError | None = None
        self.dropped_s = 0.0

    def start(self) -> None:
        """Begin to read."""
        self._thread.start()

    def stop(self) -> None:
        """Ask the thread to end; it ends with the block that it is reading."""
        self._stop.set()

    @property
    def backlog(self) -> float:
        """How full the queue is, 0 to 1."""
        return self._queue.qsize() / self._capacity

    def next(self, timeout_s: float) -> Block | Gap | None:
        """Return the next block or gap; ``None`` when none came in time, or the source has ended."""
        try:
            return self._queue.get(timeout=timeout_s)
        except queue.Empty:
            return None

    @property
    def ended(self) -> bool:
        """Whether the source has ended and everything of it was taken."""
        return not self._thread.is_alive() and self._queue.empty()

    def _read(self) -> None:
        gap: Gap | None = None
        renumber = 0
        try:
            for item in self._source.blocks(self._block_s):
                if self._stop.is_set():
                    break
                if self.backlog >= (1.0 if gap is None else DROP_TO):
                    gap = _joined(gap, item)
                    continue
                if gap is not None:
                    self.dropped_s += gap.end_unix - gap.start_unix
                    self._queue.put(gap)
                    renumber += 1
                    gap = None
                self._queue.put(_renumbered(item, renumber))
        except SkyglintError as error:
            self.error = error
        if gap is not None:
            self._queue.put(gap)


def _joined(gap: Gap | None, item: Block | Gap) -> Gap:
    """Return the gap grown by a block or gap that is dropped."""
    end = item.end_unix if isinstance(item, Gap) else item.start_unix + item.n_samples / item.sample_rate_hz
    return Gap(gap.start_unix if gap else item.start_unix, end, TOO_SLOW)


def _renumbered(item: Block | Gap, by: int) -> Block | Gap:
    """Return a block as part of a later stretch: after a drop the stretch does not go on."""
    if by == 0 or isinstance(item, Gap):
        return item
    return Block(
        item.values,
        item.encoding,
        item.stretch + by,
        item.stretch_start_unix,
        item.sample_index,
        item.sample_rate_hz,
        item.center_frequency_hz,
    )
