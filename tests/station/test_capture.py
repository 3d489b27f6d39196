"""Capture: order kept, losses told, never silently."""

import threading
import time

import numpy as np
import pytest

from skyglint.errors import SourceError
from skyglint.signals.block import Block, Encoding, Gap
from skyglint.station.capture import TOO_SLOW, Capture

CU8 = Encoding("cu8", np.dtype(np.uint8), 127.5, 127.5)


class Numbered:
    """A source of one-second blocks that waits for permission before each."""

    def __init__(self, count, error=None, hold=None):
        self.count, self.error, self.hold = count, error, hold

    def blocks(self, block_s=0.1):
        for number in range(self.count):
            if self.hold:
                self.hold.acquire()
            yield Block(np.full(20, number, dtype=np.uint8), CU8, 0, 1000.0, 10 * number, 10.0, 1e8)
        if self.error:
            raise self.error


def drain(capture, seconds=5.0):
    items, until = [], time.monotonic() + seconds
    while not capture.ended and time.monotonic() < until:
        item = capture.next(0.05)
        if item is not None:
            items.append(item)
    return items


def test_everything_arrives_in_order():
    capture = Capture(Numbered(6), capacity_s=10.0, block_s=1.0)
    capture.start()
    assert [int(item.values[0]) for item in drain(capture)] == list(range(6))
    assert capture.dropped_s == 0.0


def test_what_does_not_fit_becomes_a_gap_of_the_same_length():
    hold = threading.Semaphore(0)
    capture = Capture(Numbered(9, hold=hold), capacity_s=3.0, block_s=1.0)
    capture.start()
    for _ in range(7):
        hold.release()
    time.sleep(0.3)
    first = [capture.next(1.0) for _ in range(3)]
    for _ in range(2):
        hold.release()
    rest = drain(capture)
    assert [int(item.values[0]) for item in first] == [0, 1, 2]
    gap, after = rest[0], rest[1:]
    assert isinstance(gap, Gap)
    assert (gap.start_unix, gap.reason) == (1003.0, TOO_SLOW)
    assert gap.end_unix == after[0].start_unix  # not a moment is unaccounted for
    assert all(item.stretch == 1 for item in after)
    assert capture.dropped_s == pytest.approx(gap.end_unix - gap.start_unix)


def test_an_error_of_the_source_is_kept():
    capture = Capture(Numbered(1, error=SourceError("gone")), capacity_s=3.0, block_s=1.0)
    capture.start()
    assert len(drain(capture)) == 1
    assert str(capture.error) == "gone"


def test_stopping_ends_the_thread():
    hold = threading.Semaphore(0)
    capture = Capture(Numbered(100, hold=hold), capacity_s=3.0, block_s=1.0)
    capture.start()
    capture.stop()
    hold.release()
    drain(capture, 1.0)
    assert capture.ended
