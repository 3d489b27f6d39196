"""The day's course as evidence: told when it is there, not when it is not."""

import math

import numpy as np
import pytest

from skyglint.activity.rates import Rate
from skyglint.horizon.solar_clock import solar_clock_evidence


def rows(course, hours=range(24), live_s=3600.0, role="target"):
    return [
        Rate("north-sea", role, 3600.0 * h, 3600.0 * (h + 1), int(course(h + 0.5)), live_s, 0.0, 0, 0, 0, 0, h + 0.5)
        for h in hours
    ]


def test_a_morning_maximum_is_told():
    # 40 (1 + 0.6 cos(2 pi (h - 6) / 24)): maximum at 6 h, ratio of extremes 4 (ITU-R P.843-1 sec. 1); the halves
    # stand as (1 + 0.6 x 2 / pi) / (1 - 0.6 x 2 / pi) = 2.24.
    found = solar_clock_evidence(rows(lambda h: round(40 * (1 + 0.6 * math.cos(2 * math.pi * (h - 6) / 24)))))
    assert float(found.cycle.hour_of_maximum_h) == pytest.approx(6.0, abs=0.3)
    assert found.morning.ratio == pytest.approx(2.24, abs=0.05)
    assert found.morning.probability < 1e-6
    assert "2.2 times the rate" in found.sentence
    assert "6.0 ±" in found.sentence


def test_a_steady_rate_tells_no_hour():
    found = solar_clock_evidence(rows(lambda h: 20))
    assert "cannot be told" in found.sentence
    assert found.morning.probability > 0.4


def test_a_few_evening_hours_are_not_enough():
    found = solar_clock_evidence(rows(lambda h: 30, hours=range(18, 23)))
    assert found.cycle is None
    assert "do not show a day's course yet" in found.sentence
    assert "5 of the 24" in found.sentence


def test_guards_and_unwatched_hours_do_not_count():
    found = solar_clock_evidence(rows(lambda h: 9, role="guard") + rows(lambda h: 9, live_s=0.0))
    assert (found.echoes, found.solar_hours) == (0, 0)
    assert np.isnan(found.morning.ratio)
