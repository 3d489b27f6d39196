import numpy as np
import pytest

from skyglint.echoes.swell import floor_swell, unrest

STEP_S = 0.5


def test_a_floor_that_stands_still_has_no_swell():
    swell = floor_swell(np.full(600, 3.0) + 1e-4 * np.random.default_rng(1).standard_normal(600), STEP_S, 1.0)
    assert np.isinf(swell.ratio)


def test_an_aircraft_under_the_burst_is_seen_with_its_age():
    log_floor = np.zeros(600)
    log_floor[-60:] = np.log(1.5)
    swell = floor_swell(log_floor, STEP_S, 0.2)
    assert swell.raised == pytest.approx(0.5)
    assert swell.raised_s == pytest.approx(30.0)
    assert swell.ratio == pytest.approx(0.2 * 1.5 / 0.5)


def test_a_station_that_has_been_there_for_long_is_the_floor():
    log_floor = np.full(600, np.log(4.0))
    log_floor[:60] = 0.0
    assert np.isinf(floor_swell(log_floor, STEP_S, 1.0).ratio)


def test_the_first_step_of_a_stretch_has_nothing_to_compare():
    assert np.isinf(floor_swell(np.array([0.3]), STEP_S, 1.0).ratio)


FRAME_S, SAMPLES = 0.01, 760.0


def before(mean, seed=2):
    mean = np.asarray(mean, dtype=float)
    return (1 + mean) * np.random.default_rng(seed).gamma(SAMPLES, 1 / SAMPLES, len(mean)) - 1


@pytest.mark.parametrize("seed", range(5))
def test_a_quiet_floor_has_no_unrest_even_before_a_weak_burst(seed):
    assert unrest(before(np.zeros(800), seed), FRAME_S, SAMPLES, 0.1) < 0.03


def test_a_beat_before_the_burst_is_unrest():
    # A sine's square lies below sin^2(pi / 8) of its amplitude's for a quarter of the time, a squared normal variable
    # below 0.1015 of its mean (chi-square tables).
    t = np.arange(800) * FRAME_S
    expected = 0.4 * np.sin(np.pi / 8) / np.sqrt(0.1015) / 2.0
    assert unrest(before(0.4 * np.sin(2 * np.pi * t / 2.7)), FRAME_S, SAMPLES, 2.0) == pytest.approx(expected, rel=0.15)


def test_one_trail_before_another_is_no_unrest():
    quiet = np.zeros(800)
    quiet[100:650] = 5.0
    assert unrest(before(quiet), FRAME_S, SAMPLES, 2.0) < 0.02


def test_too_little_before_says_nothing():
    assert unrest(np.full(150, 3.0), FRAME_S, SAMPLES, 2.0) == 0
