"""Live receivers against a simulated one: a converter, its clock, the computer's clock, and what goes wrong."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.errors import SourceError
from skyglint.signals.block import Block, Gap
from skyglint.signals.encodings import ENCODINGS
from skyglint.signals.live import LiveSource, Settings

T0 = 1786586400.0
RATE_HZ = 1000.0


class Receiver:
    """A device that counts its samples in their values, and moves the time on as it delivers them.

    ``faults`` maps a sample index to what happens there: ``("lose", s)``, ``("fail", message)`` or ``("set", s)``.
    """

    name = "simulated"
    encoding = ENCODINGS["ci16_le"]
    settings = Settings(98e6, RATE_HZ, None)

    def __init__(self, faults=(), *, rate_hz=RATE_HZ, refusals=(), chunk=20, delay_s=0.0):
        self.faults, self.rate_hz, self.chunk, self.delay_s = sorted(faults), rate_hz, chunk, delay_s
        self.refusals = list(refusals)
        self.taken = 0  # samples that the converter has taken, delivered or lost
        self.elapsed_s = 0.0
        self.offset_s = 0.0  # of the computer's clock
        self.is_open = False
        self.slept = []

    def clock(self):
        return T0 + self.elapsed_s + self.offset_s

    def sleep(self, pause_s):
        self.slept.append(pause_s)
        self.elapsed_s += pause_s
        self.taken += round(pause_s * self.rate_hz)

    def open(self):
        if self.refusals and self.refusals.pop(0):
            raise SourceError("refused")
        self.is_open = True

    def close(self):
        self.is_open = False

    def read_into(self, buffer):
        assert self.is_open
        if self.faults and self.taken >= self.faults[0][0]:
            _, (kind, value) = self.faults.pop(0)
            if kind == "fail":
                raise SourceError(value)
            if kind == "lose":
                self.taken += round(value * self.rate_hz)
                self.elapsed_s += value
            if kind == "set":
                self.offset_s += value
        n_samples = min(self.chunk, len(buffer) // 4)
        index = np.arange(self.taken, self.taken + n_samples)
        values = np.column_stack([index // 30_000, index % 30_000]).astype("<i2")
        buffer[: 4 * n_samples] = values.tobytes()
        self.taken += n_samples
        self.elapsed_s += n_samples / self.rate_hz
        return 4 * n_samples


def run(receiver, seconds, block_s=0.1):
    source = LiveSource(receiver, receiver.clock, receiver.sleep)
    items = []
    for item in source.blocks(block_s):
        items.append(item)
        if item.start_unix > T0 + seconds:
            break
    return items


def index_of_first(block):
    return int(block.values[0]) * 30_000 + int(block.values[1])


def check_order(items, lost_at=None):
    """Each item begins where the one before ended, and a stretch is unbroken but where samples were lost unseen."""
    for before, after in itertools.pairwise(items):
        end_unix = before.end_unix if isinstance(before, Gap) else before.start_unix + before.n_samples / RATE_HZ
        assert after.start_unix == pytest.approx(end_unix, abs=1e-5)
        if isinstance(before, Block) and isinstance(after, Block):
            assert after.stretch == before.stretch
            if lost_at is None or not index_of_first(before) <= lost_at <= index_of_first(after):
                assert index_of_first(after) == index_of_first(before) + before.n_samples
    stretches = [item.stretch for item in items if isinstance(item, Block)]
    assert stretches[0] == 0
    assert all(after - before in (0, 1) for before, after in itertools.pairwise(stretches))


def errors_s(items, rate_hz=RATE_HZ):
    """Stated minus true time of the first sample of each block."""
    return [item.start_unix - (T0 + index_of_first(item) / rate_hz) for item in items if isinstance(item, Block)]


def test_samples_are_timed_by_the_clock_less_what_had_arrived():
    receiver = Receiver()
    items = run(receiver, 30)
    assert all(isinstance(item, Block) for item in items)
    check_order(items)
    assert np.abs(errors_s(items)).max() < 1e-6
    # The first samples are of a tuner that settles.
    assert index_of_first(items[0]) == 300
    assert not receiver.is_open


@pytest.mark.parametrize("block_s", [0.013, 0.1, 0.7])
def test_samples_lost_on_the_way_are_a_gap_of_their_length(block_s):
    items = run(Receiver([(15_000, ("lose", 0.3))]), 60, block_s)
    check_order(items, lost_at=15_000)
    (gap,) = (item for item in items if isinstance(item, Gap))
    assert gap.end_unix - gap.start_unix == pytest.approx(0.3, abs=0.03)
    assert gap.reason == f"samples lost on the way, {gap.end_unix - gap.start_unix:.3f} s by the computer's clock"
    # Noticed within ten seconds and some blocks; right before and after.
    assert gap.start_unix < T0 + 15 + 10 + 2 * block_s + 0.1
    errors = errors_s(items)
    assert np.abs([errors[0], errors[-1]]).max() < 0.03


@pytest.mark.parametrize("ppm", [-100, 100])
def test_a_converter_whose_clock_is_off_stays_within_the_tolerance_all_night(ppm):
    items = run(Receiver(rate_hz=RATE_HZ * (1 + ppm * 1e-6)), 3600, block_s=1.0)
    errors = np.array(errors_s(items, RATE_HZ * (1 + ppm * 1e-6)))
    assert np.abs(errors).max() < 0.053
    gaps = [item for item in items if isinstance(item, Gap)]
    assert len(gaps) == 7
    starts = [item.start_unix for item in items]
    assert starts == sorted(starts)


def test_a_clock_set_back_leaves_a_note_and_times_go_on():
    items = run(Receiver([(15_000, ("set", -3600.0))]), 60)
    (gap,) = (item for item in items if isinstance(item, Gap))
    assert gap.start_unix == gap.end_unix
    assert "computer's clock set back, or samples faster than time: 3600." in gap.reason
    assert np.abs(errors_s(items)).max() < 0.02
    blocks = [item for item in items if isinstance(item, Block)]
    assert [block.start_unix for block in blocks] == sorted(block.start_unix for block in blocks)


def test_a_lost_receiver_is_sought_with_rising_pauses_and_the_time_is_a_gap():
    receiver = Receiver([(15_000, ("fail", "unplugged"))], refusals=[False, True, True, True, False])
    items = run(receiver, 60)
    check_order(items)
    assert receiver.slept == [0.5, 1.0, 2.0, 4.0]
    gaps = [item for item in items if isinstance(item, Gap)]
    assert [gap.reason for gap in gaps] == [
        "receiver lost: unplugged",
        *["receiver lost: refused"] * 3,
        "receiver starting",
    ]
    lost_s = sum(gap.end_unix - gap.start_unix for gap in gaps)
    # The pauses and what a new start gives up; and the block that was not whole.
    assert lost_s == pytest.approx(7.5 + 0.3, abs=0.11)
    assert np.abs(errors_s(items)).max() < 0.02
    assert {item.stretch for item in items if isinstance(item, Block)} == {0, 1}


def test_pauses_do_not_rise_beyond_their_limit():
    receiver = Receiver([(5_000, ("fail", "unplugged"))], refusals=[False] + [True] * 9)
    run(receiver, 100)
    assert max(receiver.slept) == 15.0


def test_a_receiver_that_was_never_there_is_said_at_once():
    receiver = Receiver(refusals=[True])
    with pytest.raises(SourceError, match="refused"):
        next(LiveSource(receiver, receiver.clock, receiver.sleep).blocks())
    assert receiver.slept == []


@settings(max_examples=25, deadline=None)
@given(
    faults=st.lists(
        st.tuples(
            st.integers(2_000, 60_000),  # what fails before its first sample is refused, not sought
            st.one_of(
                st.tuples(st.just("lose"), st.floats(0.1, 5)),
                st.tuples(st.just("fail"), st.just("unplugged")),
                st.tuples(st.just("set"), st.floats(-0.9, 0.9)),
                st.tuples(st.just("set"), st.floats(-100, -2)),
            ),
        ),
        max_size=4,
    ),
    chunk=st.integers(1, 400),
    block_s=st.floats(0.05, 1.0),
)
def test_whatever_goes_wrong_times_never_overlap(faults, chunk, block_s):
    items = run(Receiver(faults, chunk=chunk), 60, block_s)
    for before, after in itertools.pairwise(items):
        end_unix = before.end_unix if isinstance(before, Gap) else before.start_unix + before.n_samples / RATE_HZ
        assert after.start_unix == pytest.approx(end_unix, abs=1e-5)
        assert isinstance(before, Block) or before.end_unix >= before.start_unix
    stretches = [item.stretch for item in items if isinstance(item, Block)]
    assert stretches == sorted(stretches)
