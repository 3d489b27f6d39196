"""Captures on the axis of time: what continues, what is a gap, what a clock set back does."""

import pytest

from skyglint.signals.block import Gap
from skyglint.signals.captures import Capture, Store, lay_out
from skyglint.signals.recording import Stretch

T0 = 1786586400.0
RATE_HZ = 1_000_000.0


def captures(*stated, frequency=98e6, resolution_s=1e-6):
    """One capture of a second for each stated time."""
    return [
        Capture(number * 1_000_000, 0, frequency, None if at is None else T0 + at, resolution_s, None)
        for number, at in enumerate(stated)
    ]


def laid_out(captures, held=None, stated=0):
    held = len(captures) * 1_000_000 if held is None else held
    return lay_out(captures, Store(2 * held, 2, RATE_HZ, stated))


def times(parts):
    ends = [part.n_samples if isinstance(part, Stretch) else round(part.end_unix - T0, 6) for part in parts]
    return [(type(part).__name__, round(part.start_unix - T0, 6), end) for part, end in zip(parts, ends, strict=True)]


def test_times_that_agree_with_the_count_are_one_stretch():
    parts, end_unix = laid_out(captures(0, 1 + 1e-6, 2 - 1.5e-6, None))
    assert times(parts) == [("Stretch", 0, 4_000_000)]
    assert end_unix == T0 + 4


def test_a_time_printed_to_the_millisecond_cannot_contradict_the_count_by_less():
    assert len(laid_out(captures(0, 1.0009, resolution_s=1e-3))[0]) == 1
    assert len(laid_out(captures(0, 1.0009, resolution_s=1e-6))[0]) == 3
    # Whole seconds are not taken as leave to hide a lost half second.
    assert len(laid_out(captures(0, 1.5, resolution_s=1.0))[0]) == 3


def test_a_later_time_is_a_gap():
    parts, end_unix = laid_out(captures(0, 1.25))
    assert times(parts) == [("Stretch", 0, 1_000_000), ("Gap", 1, 1.25), ("Stretch", 1.25, 1_000_000)]
    assert end_unix == T0 + 2.25


def test_a_retuning_is_a_new_stretch_without_a_gap():
    one, other = captures(0, 1)
    other = Capture(other.sample_start, 0, 99e6, other.stated_unix, 1e-6, None)
    parts, _ = laid_out([one, other])
    assert times(parts) == [("Stretch", 0, 1_000_000), ("Stretch", 1, 1_000_000)]


def test_a_clock_set_back_leaves_a_note_and_the_count_goes_on():
    # An hour back (a time zone put right); the gap of two seconds on the new clock stays two seconds.
    parts, end_unix = laid_out(captures(0, -3599, -3596))
    assert times(parts) == [
        ("Stretch", 0, 1_000_000),
        ("Gap", 1, 1),
        ("Stretch", 1, 1_000_000),
        ("Gap", 2, 4),
        ("Stretch", 4, 1_000_000),
    ]
    assert parts[1].reason == "clock set back by 3600 s before capture 1; times go on by the count of samples"
    assert end_unix == T0 + 5


def test_jitter_of_a_clock_does_not_add_up():
    # Stated 10 ms late and early in turn: every capture is recorded at its count or at its stated time, no later.
    stated = [number + (0.01 if number % 2 else 0.0) for number in range(20)]
    parts, end_unix = laid_out(captures(*stated))
    assert end_unix - T0 == pytest.approx(20.01, abs=1e-6)
    assert sum(part.end_unix - part.start_unix for part in parts if isinstance(part, Gap)) == pytest.approx(0.01)


def test_the_index_in_the_stream_tells_of_lost_samples_to_the_sample():
    one, other = captures(0, 1.0003, resolution_s=1e-3)
    one = Capture(0, 0, 98e6, one.stated_unix, 1e-3, 500)
    other = Capture(1_000_000, 0, 98e6, other.stated_unix, 1e-3, 500 + 1_000_000 + 300)
    parts, _ = laid_out([one, other])
    assert parts[1].end_unix - parts[1].start_unix == pytest.approx(300e-6, abs=3e-7)
    untimed = Capture(1_000_000, 0, 98e6, None, 0.0, 500 + 1_000_000 + 300)
    assert laid_out([one, untimed])[0][1] == parts[1]


@pytest.mark.parametrize(
    ("held", "stated", "expected"),
    [
        (1_500_000, 0, [("Stretch", 0, 1_000_000), ("Gap", 1, 3), ("Stretch", 3, 500_000)]),
        (
            1_500_000,
            2_000_000,
            [("Stretch", 0, 1_000_000), ("Gap", 1, 3), ("Stretch", 3, 500_000), ("Gap", 3.5, 4)],
        ),
        (400_000, 2_000_000, [("Stretch", 0, 400_000), ("Gap", 0.4, 4)]),
        (400_000, 0, [("Stretch", 0, 400_000), ("Gap", 0.4, 3)]),
        (1_000_000, 2_000_000, [("Stretch", 0, 1_000_000), ("Gap", 1, 3), ("Gap", 3, 4)]),
        (0, 2_000_000, [("Gap", 0, 4)]),
    ],
)
def test_wherever_a_recording_is_cut_off_the_rest_is_a_gap(held, stated, expected):
    parts, end_unix = laid_out(captures(0, 3), held, stated)
    assert times(parts) == expected
    assert end_unix == T0 + (expected[-1][2] if expected[-1][0] == "Gap" else 3.5)
