import numpy as np

from skyglint.echoes.company import burst_company

SAMPLES = np.full(5, 760.0)
GUARD = np.array([False, False, False, False, True])


def lanes(excess_in_burst, seed=0):
    excess = np.random.default_rng(seed).standard_normal((5, 60)) / np.sqrt(760.0)
    excess[:, 40:50] += np.asarray(excess_in_burst, dtype=float)[:, None]
    return excess


def test_a_burst_of_one_station_is_alone():
    company = burst_company(lanes([3, 0, 0, 0, 0]), 0, 40, 50, SAMPLES, GUARD)
    assert (company.others_up, company.others, company.guards_up, company.guards) == (0, 4, 0, 1)
    assert not company.everywhere
    assert not company.in_guard


def test_what_hits_all_lanes_alike_is_everywhere():
    company = burst_company(lanes([1, 1, 1, 1, 1]), 2, 40, 50, SAMPLES, GUARD)
    assert company.everywhere
    assert 0.9 < company.evenness < 1.1


def test_a_trail_that_lights_all_targets_is_not_everywhere_while_the_guard_is_quiet():
    assert not burst_company(lanes([2, 3, 1, 2, 0]), 0, 40, 50, SAMPLES, GUARD).everywhere


def test_a_guard_that_was_high_before_does_not_count():
    excess = lanes([3, 0, 0, 0, 0])
    excess[4] += 0.5
    assert not burst_company(excess, 0, 40, 50, SAMPLES, GUARD).in_guard


def test_leakage_into_a_guard_does_not_count():
    company = burst_company(lanes([100, 0, 0, 0, 0.5]), 0, 40, 50, SAMPLES, GUARD)
    assert not company.in_guard


def test_a_single_channel_has_no_company():
    company = burst_company(lanes([3, 0, 0, 0, 0])[:1], 0, 40, 50, SAMPLES[:1], GUARD[:1])
    assert company.others == 0
    assert not company.everywhere
