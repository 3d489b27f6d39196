import numpy as np

from skyglint.simulate.scenario import Scenario
from skyglint.station.accuracy.false_alarms import FalseAlarms, line_false_alarms, noise_false_alarms, nuisance_hour


def test_noise_gives_about_the_false_alarms_that_were_accepted():
    result = noise_false_alarms(0.2, 5)
    assert result.channel_hours == 1.0
    assert result.per_channel_hour <= 4.0  # 5 or more where 1 is expected would be a chance of 1 in 270


def test_a_gain_that_wanders_by_a_tenth_of_a_decibel_adds_few_false_alarms():
    result = noise_false_alarms(0.4, 7, gain_wander_db=0.1, gain_wander_s=60.0)
    assert result.per_channel_hour <= 4.0  # more than 8 where 2 are expected: a chance of 1 in 4,000


def test_rates_are_counts_over_time():
    alarms = FalseAlarms(4.0, 10, 6)
    assert alarms.per_channel_hour == 2.5
    assert alarms.meteoric_per_channel_hour == 1.5


def test_an_hour_of_nuisances_holds_every_kind():
    rows = nuisance_hour(np.random.default_rng(1))
    assert set(rows) == {"impulses", "lightning", "gain_step", "ducting", "aircraft", "comb", "loss"}
    assert set(rows) <= set(Scenario.model_fields)
    assert all(row["start_s"] < 3600 for table in rows.values() for row in table)


def test_lines_in_a_carrier_channel_are_no_echoes():
    assert line_false_alarms(0.05, 5).echoes <= 1
