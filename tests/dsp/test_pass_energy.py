import math

import numpy as np
import pytest

from skyglint.dsp.pass_energy import energy_along

TIMES = np.arange(3_600.0)
EXPECTED = np.where(np.abs(TIMES - 1_500) < 300, (1 + ((TIMES - 1_500) / 80) ** 2) ** -2, 0.0)


def power_of(random, wander=0.005, rise=0.0):
    """Second means of 200 kHz of noise, with a gain that wanders over minutes."""
    steps = random.standard_normal(len(TIMES))
    drift = np.convolve(steps, np.exp(-np.arange(600) / 120.0), mode="full")[: len(TIMES)]
    return (1 + wander * drift / drift.std()) * (1 + random.standard_normal(len(TIMES)) / 450) + rise * EXPECTED


def test_a_rise_of_the_expected_shape_is_found():
    statistic, chance = energy_along(power_of(np.random.default_rng(1), rise=0.1), EXPECTED)
    assert statistic > 5
    assert chance < 1e-3


def test_the_stated_probability_holds_while_the_gain_wanders():
    chances = np.array([energy_along(power_of(np.random.default_rng([2, i])), EXPECTED)[1] for i in range(500)])
    for level in (0.2, 0.05, 0.01):
        assert np.mean(chances <= level) <= level + 3 * math.sqrt(level * (1 - level) / 500)


def test_bursts_do_not_decide():
    power = power_of(np.random.default_rng(3), wander=0.001)
    power[1_480:1_486] += 50.0
    assert energy_along(power, EXPECTED)[1] > 1e-3


def test_a_recording_that_is_all_pass_cannot_tell():
    statistic, chance = energy_along(np.ones(300), np.ones(300))
    assert math.isnan(statistic)
    assert chance == 1.0
    assert energy_along(np.ones(300), np.zeros(300))[1] == 1.0


def test_gain_does_not_matter():
    power = power_of(np.random.default_rng(4), rise=0.02)
    assert energy_along(1e-6 * power, EXPECTED) == pytest.approx(energy_along(power, EXPECTED))
