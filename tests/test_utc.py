"""UTC text to POSIX seconds and back, against the standard library and POSIX's rule for leap seconds."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.utc import format_utc, parse_utc, to_datetime


@given(
    st.floats(90_000.0, 4e9).map(lambda unix: datetime.fromtimestamp(unix, UTC).replace(tzinfo=None)),
    st.integers(-14 * 60, 14 * 60),
)
def test_any_offset_gives_the_same_instant(moment, offset_minutes):
    zone = timezone(timedelta(minutes=offset_minutes))
    aware = moment.replace(tzinfo=zone)
    assert parse_utc(aware.isoformat()) == pytest.approx(aware.timestamp(), abs=2e-6)


@given(st.integers(0, 4_000_000_000_000))
def test_milliseconds_survive_the_round_trip(milliseconds):
    text = format_utc(milliseconds / 1000)
    assert len(text) == 24
    assert round(parse_utc(text) * 1000) == milliseconds


@pytest.mark.parametrize("text", ["2016-12-31T23:59:60Z", "2016-12-31T23:59:60.000Z", "20161231T235960Z"])
def test_a_leap_second_is_the_next_minute(text):
    # POSIX.1-2017, 4.16: seconds since the epoch do not count leap seconds.
    assert parse_utc(text) == datetime(2017, 1, 1, tzinfo=UTC).timestamp()


@pytest.mark.parametrize("text", ["2026-08-13T02:00:00", "yesterday", "", "2026-13-01T00:00:00Z", "2026-08-13"])
def test_what_is_no_utc_time_is_refused(text):
    with pytest.raises(ValueError, match="2026-08-13T02:00:00Z"):
        parse_utc(text)


def test_more_digits_than_microseconds_are_kept():
    assert parse_utc("2026-08-13T02:00:00.1234567Z") == pytest.approx(1786586400.1234567, abs=3e-7)


def test_rounding_carries_into_the_next_day():
    assert format_utc(1786579199.9999, 2) == "2026-08-13T00:00:00.00Z"
    assert to_datetime(0.0) == datetime(1970, 1, 1, tzinfo=UTC)
