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

    ``faults`` maps a sample index to what happens there: ``("lose", s)``, ``("hold", s)`` (samples come late, and then
    at once), ``("ahead", s)`` (at once, before their time), ``("stick", s)`` (one value), ``("fail", message)`` or
    ``("set", s)``.
    """

    name = "simulated"
    encoding = ENCODINGS["ci16_le"]
    settings = Settings(98e6, RATE_HZ, None)

    def __init__(self, faults=(), *, rate_hz=RATE_HZ, refusals=(), chunk=20, pace=1.0):
        self.faults, self.rate_hz, self.chunk, self.pace = sorted(faults), rate_hz, chunk, pace
        self.refusals = list(refusals)
        self.taken = 0  # samples that the converter has taken, delivered or lost
        self.elapsed_s = 0.0
        self.behind_s = 0.0
        self.stuck_until = 0
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
            if kind == "hold":
                self.elapsed_s += value
                self.behind_s = value
            if kind == "ahead":
                self.behind_s = value
            if kind == "stick":
                self.stuck_until = self.taken + value * self.rate_hz
            if kind == "set":
                self.offset_s += value
        n_samples = min(self.chunk, len(buffer) // 4)
        index = np.arange(self.taken, self.taken + n_samples)
        values = np.column_stack([index // 30_000, index % 30_000]).astype("<i2")
        buffer[: 4 * n_samples] = values.tobytes()
        if self.taken < self.stuck_until:
            buffer[: 4 * n_samples] = bytes(4 * n_samples)
        self.taken += n_samples
        caught_up_s = min(self.behind_s, n_samples / self.rate_hz)
        self.behind_s -= caught_up_s
        self.elapsed_s += (n_samples / self.rate_hz - caught_up_s) / self.pace
        return 4 * n_samples


def run(receiver, seconds, block_s=0.1):
    source = LiveSource(receiver, receiver.clock, receiver.sleep, monotonic=lambda: receiver.elapsed_s)
    items = []
    for item in source.blocks(block_s):
        items.append(item)
        if item.start_unix > T0 + seconds:
            break
    return items


def blocks(items):
    return [item for item in items if isinstance(item, Block)]


def end_of(item):
    return item.end_unix if isinstance(item, Gap) else item.start_unix + item.n_samples / RATE_HZ


def index_of_first(block):
    return int(block.values[0]) * 30_000 + int(block.values[1])


def check_order(items, lost_at=None):
    """Each item begins where the one before ended, and a stretch is unbroken but where samples were lost unseen."""
    for before, after in itertools.pairwise(items):
        assert after.start_unix == pytest.approx(end_of(before), abs=1e-5)
        if isinstance(before, Block) and isinstance(after, Block):
            assert after.stretch == before.stretch
            if lost_at is None or not index_of_first(before) <= lost_at <= index_of_first(after):
                assert index_of_first(after) == index_of_first(before) + before.n_samples
    stretches = [item.stretch for item in items if isinstance(item, Block)]
    assert stretches[0] == 0
    assert all(after - before in (0, 1) for before, after in itertools.pairwise(stretches))


def errors_s(items, rate_hz=RATE_HZ):
    """Stated minus true time of the first sample of each block."""
    return [item.start_unix - (T0 + index_of_first(item) / rate_hz) for item in blocks(items)]


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
    items = run(Receiver([(15_000, ("lose", 0.15))]), 60, block_s)
    check_order(items, lost_at=15_000)
    (gap,) = (item for item in items if isinstance(item, Gap))
    assert gap.end_unix - gap.start_unix == pytest.approx(0.15, abs=0.03)
    assert gap.reason == f"samples lost on the way, {gap.end_unix - gap.start_unix:.3f} s by the computer's clock"
    # Noticed within ten seconds and some blocks; right before and after.
    assert gap.start_unix < T0 + 15 + 10 + 2 * block_s + 0.1
    errors = errors_s(items)
    assert np.abs([errors[0], errors[-1]]).max() < 0.03


@pytest.mark.parametrize("block_s", [0.013, 0.1, 0.7])
@pytest.mark.parametrize("pause_s", [0.3, 2.0])
def test_samples_lost_in_a_pause_are_a_gap_where_they_were_lost(block_s, pause_s):
    items = run(Receiver([(15_000, ("lose", pause_s))]), 60, block_s)
    check_order(items, lost_at=15_000)
    (gap,) = (item for item in items if isinstance(item, Gap))
    assert gap.end_unix - gap.start_unix == pytest.approx(pause_s, abs=0.03)
    assert gap.start_unix == pytest.approx(T0 + 15, abs=block_s + 0.01)
    # Only the block that was being read through the pause may hold samples from both sides of it.
    errors = [error for item, error in zip(blocks(items), errors_s(items), strict=True) if item.start_unix != T0 + 15]
    assert sorted(np.abs(errors))[-2] < 0.03


@pytest.mark.parametrize("pause_s", [0.3, 2.9])
def test_samples_that_were_only_held_back_are_not_lost(pause_s):
    items = run(Receiver([(15_000, ("hold", pause_s)), (40_000, ("hold", pause_s))]), 60)
    assert all(isinstance(item, Block) for item in items)
    check_order(items)
    assert np.abs(errors_s(items)).max() < 0.03


@pytest.mark.parametrize("jump_s", [0.3, 3.0])
def test_samples_before_their_time_are_given_up(jump_s):
    receiver = Receiver([(15_000, ("ahead", jump_s))])
    items = run(receiver, 60)
    (gap,) = (item for item in items if isinstance(item, Gap))
    assert gap.start_unix == gap.end_unix < T0 + 17 + jump_s  # the jump, and a second and a half to see that it was one
    assert gap.reason == f"samples ahead of the computer's clock, {jump_s:.3f} s given up"
    assert end_of(items[-1]) == pytest.approx(receiver.clock(), abs=0.06)


def test_a_replay_faster_than_time_is_watched_whole():
    items = run(Receiver(pace=4.0), 200)
    assert {item.start_unix - item.end_unix for item in items if isinstance(item, Gap)} == {0.0}
    assert sum(item.n_samples for item in blocks(items)) > 199_000
    for before, after in itertools.pairwise(blocks(items)):
        assert index_of_first(after) == index_of_first(before) + before.n_samples


def test_a_receiver_that_sends_one_value_is_deaf():
    items = run(Receiver([(15_000, ("stick", 3.0))]), 60)
    gaps = [item for item in items if isinstance(item, Gap)]
    assert {gap.reason for gap in gaps} == {"the receiver sends one and the same value"}
    assert gaps[0].start_unix == pytest.approx(T0 + 15, abs=0.11)
    assert sum(gap.end_unix - gap.start_unix for gap in gaps) == pytest.approx(3.0, abs=0.21)
    assert np.abs(errors_s(items)[-1]) < 0.03
    for before, after in itertools.pairwise(items):
        assert after.start_unix == pytest.approx(end_of(before), abs=1e-5)


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
    assert gap.reason == "computer's clock set back: 3600.000 s; times go on by count"
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
    assert max(receiver.slept) == 4.0


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
                st.tuples(st.sampled_from(["lose", "hold", "ahead", "stick"]), st.floats(0.1, 5)),
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
        assert after.start_unix == pytest.approx(end_of(before), abs=1e-5)
        assert isinstance(before, Block) or before.end_unix >= before.start_unix
    stretches = [item.stretch for item in items if isinstance(item, Block)]
    assert stretches == sorted(stretches)
