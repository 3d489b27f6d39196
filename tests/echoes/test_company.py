import numpy as np
import pytest

from skyglint.echoes.company import Surroundings, burst_company
from skyglint.site import Channel

SAMPLES = np.full(6, 760.0)
GUARD = np.array([False, False, False, False, True, False])
REFERENCE = np.array([False, False, False, False, False, True])


def lanes(excess_in_burst, seed=0):
    """Return four targets, a guard and a reference; the burst lies in frames 40 to 50."""
    excess = np.random.default_rng(seed).standard_normal((6, 50)) / np.sqrt(760.0)
    excess[:, 40:] += np.asarray(excess_in_burst, dtype=float)[:, None]
    return excess


def company(excess, channel=0):
    return burst_company(excess, channel, 40, excess[channel, 40:], SAMPLES, GUARD, REFERENCE)


def test_a_burst_of_one_station_is_alone():
    found = company(lanes([3, 0, 0, 0, 0, 0]))
    assert (found.others_up, found.others, found.guards_up, found.guards) == (0, 4, 0, 1)
    assert (found.references_up, found.references) == (0, 1)
    assert not found.everywhere
    assert not found.in_guard
    assert not found.in_receiver


def test_what_hits_all_lanes_alike_is_everywhere():
    # A flash adds to the noise: the strong reference hardly rises.
    found = company(lanes([1, 1, 1, 1, 1, 0.001]), 2)
    assert found.everywhere
    assert not found.in_receiver
    assert 0.9 < found.evenness < 1.1


def test_a_step_of_the_gain_lifts_the_reference_too():
    # 1 dB is a factor of 1.26 for every power, signal or noise.
    found = company(lanes([0.26] * 6))
    assert found.in_receiver
    assert found.everywhere


def test_a_trail_that_lights_all_targets_is_not_everywhere_while_the_guard_is_quiet():
    found = company(lanes([2, 3, 1, 2, 0, 0]))
    assert not found.everywhere
    assert found.targets_up == 3


def test_without_a_guard_targets_lit_unevenly_are_not_everywhere():
    excess = lanes([9, 1, 1, 1.5, 0, 0])[:4]
    found = burst_company(excess, 0, 40, excess[0, 40:], SAMPLES[:4], GUARD[:4], REFERENCE[:4])
    assert found.others_up == 3
    assert not found.everywhere


def test_a_guard_that_was_high_before_does_not_count():
    excess = lanes([3, 0, 0, 0, 0, 0])
    excess[4] += 0.5
    assert not company(excess).in_guard


def test_leakage_into_a_guard_does_not_count():
    assert not company(lanes([100, 0, 0, 0, 0.5, 0])).in_guard


def test_a_single_channel_has_no_company():
    excess = lanes([3, 0, 0, 0, 0, 0])[:1]
    found = burst_company(excess, 0, 40, excess[0, 40:], SAMPLES[:1], GUARD[:1], REFERENCE[:1])
    assert found.others == 0
    assert not found.everywhere


@pytest.mark.parametrize(("breadth", "everywhere"), [(0.1, False), (0.9, True)])
def test_a_crash_fills_the_bands_of_a_carrier(breadth, everywhere):
    excess = lanes([3, 0, 0, 0, 0, 0])[:1]
    found = burst_company(excess, 0, 40, excess[0, 40:], SAMPLES[:1], GUARD[:1], REFERENCE[:1], breadth)
    assert found.everywhere == everywhere


def test_channels_of_both_kinds_are_judged_together():
    channels = [
        Channel(name="tone", role="target", kind="carrier", frequency_hz=143.05e6),
        Channel(name="wide", role="guard", kind="fm", frequency_hz=99e6),
    ]
    surroundings = Surroundings(channels, 400)
    excess = lanes([3, 0, 0, 0, 0.5, 0], 3)[[0, 4]]
    surroundings.append(excess[:, :25], SAMPLES[:2])
    surroundings.append(excess[:, 25:], SAMPLES[:2])
    found = surroundings.company(0, 40, np.full(10, 700.0), 3000)
    assert (found.guards_up, found.guards) == (1, 1)
    assert found.everywhere
