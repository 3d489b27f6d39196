import numpy as np
import pytest

from skyglint.activity.coincidences import coincidences

NIGHT = np.array([[0.0, 20_000.0], [22_000.0, 42_000.0]])


def random_night(generator, n):
    times = np.sort(generator.uniform(0, 40_000, n))
    return np.where(times < 20_000, times, times + 2_000)


def test_chance_alone():
    generator = np.random.default_rng(1)
    results = [coincidences(random_night(generator, 300), random_night(generator, 200), NIGHT, 1.0) for _ in range(200)]
    # 300 echoes, each with a partner by chance with probability 1 - exp(-200 x 2 s / 40000 s) = 0.00995.
    assert np.mean([r.by_chance for r in results]) == pytest.approx(300 * 0.00995, rel=0.05)
    assert np.mean([r.together for r in results]) == pytest.approx(300 * 0.00995, rel=0.15)
    assert np.mean([r.probability < 0.05 for r in results]) < 0.09


def test_common_echoes_stand_out():
    generator = np.random.default_rng(2)
    first, second = random_night(generator, 300), random_night(generator, 200)
    shared = random_night(generator, 30)
    found = coincidences(
        np.concatenate([first, shared]), np.concatenate([second, shared + generator.normal(0, 0.2, 30)]), NIGHT, 1.0
    )
    assert found.together >= 29
    assert found.probability < 1e-9


def test_a_common_daily_course_is_not_taken_for_coincidence():
    # Both channels are busy in the same hour. A product of mean rates over the night would expect a third of this.
    generator = np.random.default_rng(3)
    probabilities = []
    for _ in range(100):
        busy = [np.concatenate([random_night(generator, 100), generator.uniform(8_000, 12_000, 300)]) for _ in range(2)]
        probabilities.append(coincidences(*busy, NIGHT, 0.5).probability)
    assert np.mean(np.array(probabilities) < 0.05) < 0.12


def test_only_common_time_counts():
    found = coincidences([10.0, 21_000.0, 30_000.0], [10.1, 21_000.2, 50_000.0], NIGHT, 1.0)
    assert (found.first, found.second, found.together) == (2, 1, 1)


def test_nothing_to_compare():
    assert np.isnan(coincidences([], [1.0], NIGHT, 1.0).probability)
    assert np.isnan(coincidences([1.0], [1.0], [[0.0, 100.0]], 1.0).probability)
    assert coincidences([1.0], [1.0], np.empty((0, 2)), 1.0).first == 0
