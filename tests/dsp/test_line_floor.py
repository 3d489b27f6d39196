import numpy as np
import pytest

from skyglint.dsp.line_floor import LineFloor, clear_lines, first_floor, quiet_looks, smooth_floor, steady_lines

RNG = np.random.default_rng(11)


def exponential(truth, n):
    return truth * RNG.exponential(1.0, (n, len(truth)))


def test_the_floor_of_bins_with_lines_is_the_mean_of_exponential_power():
    truth = np.ones(200)
    truth[50] = 400.0
    looks = exponential(truth, 400)
    floor = LineFloor(np.median(looks[:20], axis=0) / np.log(2.0))
    for look in looks[20:]:
        floor.update(look)
    assert floor.power[50] / 400 == pytest.approx(1.0, abs=0.5)
    rest = np.delete(floor.power, 50)
    assert np.median(rest) == pytest.approx(1.0, abs=0.05)
    assert rest.std() < 0.25


def test_a_strong_burst_does_not_move_the_floor():
    floor = LineFloor(np.ones(3), 1.0)
    floor.update(np.array([1e9, 1.5, 0.0]))
    assert floor.power == pytest.approx([1.0, 1.03, 0.97], abs=0.001)


def test_what_outlasts_any_echo_becomes_floor():
    floor = LineFloor(np.ones(3), 1.0)
    for _ in range(60):
        floor.update(np.array([1e4, 1.0, 1.0]))
    assert floor.power[0] == pytest.approx(1.0)
    floor.update(np.array([1e4, 1.0, 1.0]))
    assert floor.power[0] == pytest.approx(1e4, rel=0.1)


def test_a_line_that_moves_is_followed_at_once_and_a_burst_beside_it_is_not():
    power = np.ones(100)
    power[50] = 1e3
    floor = LineFloor(power, 1.0)
    look = np.ones(100)
    look[51], look[70] = 1e3, 1e3
    floor.update(look, clear_lines(floor.power, np.ones(100)))
    assert floor.power[51] == pytest.approx(1e3, rel=0.01)
    assert floor.power[70] == pytest.approx(1.0)
    for _ in range(20):
        floor.update(look, clear_lines(floor.power, np.ones(100)))
    assert floor.power[50] < 10.0


@pytest.mark.parametrize("share", [0.0, 0.4, 0.7])
def test_the_first_floor_knows_bursts_from_lines(share):
    # 12 looks, the burst in some of them over a third of the band; a line and unit noise in all of them.
    truth = np.ones(640)
    truth[500] = 50.0
    looks = exponential(truth, 12)
    looks[2 : 2 + round(12 * share), 100:300] *= 300.0
    floor = first_floor(looks, quiet_looks(looks.sum(axis=1)), 64)
    rest = np.delete(floor, 500)
    assert np.median(rest[100:300]) == pytest.approx(1.0, abs=0.15)
    assert np.median(rest) == pytest.approx(1.0, abs=0.1)
    assert rest.max() < 5.0
    assert 15 < floor[500] < 150


def test_many_strong_echoes_one_after_another_do_not_become_a_line():
    # Two looks in nine hold an echo that reaches over all bins, from twice to a thousand times the noise.
    truth = np.ones(640)
    floor = LineFloor(truth)
    for number in range(900):
        (look,) = exponential(truth, 1)
        if number % 9 < 2:
            look += 1000.0 / (1.0 + ((np.arange(640) - 320 + RNG.normal(0, 5)) / 5.0) ** 2)
        smooth = smooth_floor(floor.power, 128)
        floor.update(look, clear_lines(floor.power, smooth))
    assert floor.power.max() < 4.0


def test_the_smooth_floor_follows_a_slope_and_leaves_lines_out():
    slope = np.linspace(1.0, 3.0, 640)
    power = slope.copy()
    power[::37] = 1e4
    assert smooth_floor(power, 64)[64:-64] == pytest.approx(slope[64:-64], rel=0.03)
    assert steady_lines(power, slope).sum() == pytest.approx(3 * 18, abs=3)
