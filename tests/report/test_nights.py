from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.errors import RequestError
from skyglint.report.nights import choose_night, evening_of, night_span, nights, place_of
from skyglint.store import Store
from skyglint.utc import parse_utc


# Mean solar time runs 4 minutes a degree ahead of Greenwich towards the east.
@pytest.mark.parametrize(
    ("longitude_deg", "noon_utc"),
    [
        (0.0, "2026-08-12T12:00:00Z"),
        (-2.93, "2026-08-12T12:11:36Z"),
        (150.0, "2026-08-12T02:00:00Z"),
        (180.0, "2026-08-12T00:00:00Z"),
        (-180.0, "2026-08-13T00:00:00Z"),
    ],
)
def test_a_night_begins_at_mean_solar_noon(longitude_deg, noon_utc):
    start, end = night_span(date(2026, 8, 12), longitude_deg)
    assert start == pytest.approx(parse_utc(noon_utc), abs=1e-3)
    assert end - start == 86_400.0


@given(st.dates(date(1975, 1, 1), date(2090, 1, 1)), st.floats(-180.0, 180.0), st.floats(1.0, 86_399.0))
def test_every_moment_belongs_to_the_night_that_holds_it(evening, longitude_deg, into_s):
    start, _ = night_span(evening, longitude_deg)
    assert evening_of(start + into_s, longitude_deg) == evening
    assert evening_of(start - into_s, longitude_deg) == evening - timedelta(days=1)


def test_the_database_says_which_nights_it_holds(outage_store):
    with Store.open(outage_store) as store:
        assert nights(store) == [date(2026, 8, 12)]
        assert choose_night(store, None) == date(2026, 8, 12)
        assert place_of(store).name == "Harrow Fell"
        with pytest.raises(RequestError, match="no night of 2026-08-11: the database holds only that of 2026-08-12"):
            choose_night(store, date(2026, 8, 11))


def test_a_database_without_results_says_so(tmp_path):
    with Store.open(tmp_path / "night.db", "create") as store:
        with pytest.raises(RequestError, match="holds no night yet"):
            choose_night(store, None)
        with pytest.raises(RequestError, match="holds no results yet"):
            place_of(store)


def test_several_sites_are_not_mixed(two_sites_store):
    with Store.open(two_sites_store) as store, pytest.raises(RequestError, match=r"\(Harrow Fell, Low Moor\): choose"):
        place_of(store)
    with Store.open(two_sites_store, site_name="Low Moor") as store:
        assert choose_night(store, None) == date(2026, 8, 12)
