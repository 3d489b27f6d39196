"""When the station watches, against solar noon computed independently (skyfield 1.55 with JPL DE421)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.station.schedule import hours_until, is_open, next_change_unix
from skyglint.utc import parse_utc

# Local apparent noon at 85 W on 2026-07-15: 17:46:02 UTC (skyfield 1.55, JPL DE421).
NOON = parse_utc("2026-07-15T17:46:02Z")
LONGITUDE = -85.0


def test_noon_is_when_the_sun_says_so():
    assert hours_until(NOON - 3600, 12.0, LONGITUDE) == pytest.approx(1.0, abs=0.003)


def test_a_night_from_midnight_to_noon():
    hours = (0.0, 12.0)
    assert is_open(NOON - 60, hours, LONGITUDE)
    assert not is_open(NOON + 60, hours, LONGITUDE)
    assert next_change_unix(NOON - 7200, hours, LONGITUDE) == pytest.approx(NOON, abs=15)
    assert next_change_unix(NOON + 60, hours, LONGITUDE) == pytest.approx(NOON + 12 * 3600, abs=15)


def test_a_night_across_midnight():
    hours = (22.0, 11.0)
    assert is_open(NOON - 2 * 3600, hours, LONGITUDE)
    assert is_open(NOON + 11 * 3600, hours, LONGITUDE)
    assert not is_open(NOON, hours, LONGITUDE)


def test_always():
    assert is_open(NOON, None, LONGITUDE)
    assert next_change_unix(NOON, None, LONGITUDE) == math.inf
    assert is_open(NOON, (5.0, 5.0), LONGITUDE)


@given(
    st.floats(1.6e9, 2.2e9),
    st.floats(0, 23.99),
    st.floats(0, 23.99),
    st.floats(-180, 180),
)
def test_the_next_change_changes_it(unix, start, end, longitude):
    if abs((end - start + 12) % 24 - 12) < 0.1:
        return
    change = next_change_unix(unix, (start, end), longitude)
    assert unix < change <= unix + 24.01 * 3600
    before, after = is_open(change - 90, (start, end), longitude), is_open(change + 90, (start, end), longitude)
    assert before != after
