"""A level that changed for good is told once, and says whether it was one channel or all."""

import numpy as np
import pytest

from skyglint.echoes.echo import Findings
from skyglint.station.chain import Heard
from skyglint.station.levels import STEP_S, Levels

NAMES = ("a", "b", "c")
START = 1_786_586_400.0


def run(course, seconds, levels=None, begin=0.0, step_s=STEP_S):
    """Feed a course of levels, seconds to dB by channel, and return what was told with its time."""
    levels = levels or Levels()
    told, random = [], np.random.default_rng(3)
    for second in np.arange(begin, begin + seconds, step_s):
        values = {name: level + random.normal(0, 0.2) for name, level in course(second).items()}
        told += [(second, text) for text in levels.add(START + second, values)]
    return told


def steps(at, by):
    return lambda second: {name: -60.0 + (by.get(name, 0.0) if second >= at else 0.0) for name in NAMES}


def test_a_steady_floor_and_a_slow_drift_are_not_told():
    assert run(steps(0, {}), 4 * 3600) == []
    assert run(lambda second: {"a": -60 + 1.5 * second / 3600}, 8 * 3600) == []


@pytest.mark.parametrize("by_db", [-6.0, 4.0])
def test_all_channels_together_are_the_receiver(by_db):
    ((second, text),) = run(steps(3600, dict.fromkeys(NAMES, by_db)), 4 * 3600)
    assert 3600 + 300 - STEP_S <= second <= 3600 + 300 + STEP_S
    assert "all channels" in text
    assert f"{'risen' if by_db > 0 else 'fallen'} by {abs(by_db):.0f}" in text or f"by {abs(by_db) - 0.1:.1f}" in text
    assert "receiver, antenna and cable" in text


def test_one_channel_is_its_frequency():
    ((_, text),) = run(steps(3600, {"b": 5.0}), 4 * 3600)
    assert text.startswith("The floor of b alone has risen by")
    ((_, text),) = run(steps(3600, {"b": 5.0, "c": 5.0}), 4 * 3600)
    assert "The floor of b, c has risen" in text


def test_a_change_that_goes_back_is_not_told_and_a_way_back_is():
    short = {name: 0.0 for name in NAMES}
    assert run(lambda second: {n: -60 + (8.0 if 3600 <= second < 3840 else 0.0) for n in short}, 3 * 3600) == []
    told = run(lambda second: {n: -60 - (8.0 if 3600 <= second < 9000 else 0.0) for n in short}, 4 * 3600)
    assert [("fallen" in text, "risen" in text) for _, text in told] == [(True, False), (False, True)]


def test_nothing_is_said_of_what_is_not_known_yet():
    assert run(steps(600, dict.fromkeys(NAMES, 9.0)), 1100) == []


def test_levels_are_taken_from_what_the_chain_yields():
    levels, told = Levels(), []
    for second in range(3 * 3600):
        floor = np.full((2, 100), 1e-6 if second < 3600 else 1e-5, dtype=np.float32)
        findings = Findings(START + second, 0.01, floor, np.zeros((2, 100), np.float32), ())
        told += levels.hear(Heard(("a", "b"), (findings,)))
    assert told == [
        "The floor of all channels has risen by 10.0 dB for 5 minutes, against the last hour: "
        "look at receiver, antenna and cable."
    ]


def test_a_clock_that_was_set_back_begins_anew():
    levels = Levels()
    assert run(steps(0, {}), 3600, levels) == []
    assert run(steps(0, {}), 1800, levels, begin=-3600.0) == []
