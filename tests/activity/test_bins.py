import numpy as np
import pytest

from skyglint.activity.bins import solar_longitude_edges
from skyglint.sky.sun import solar_longitude_deg
from skyglint.utc import parse_utc


@pytest.mark.parametrize("start", ["2026-08-01T00:00Z", "2026-03-15T00:00Z"])
def test_whole_degrees_hold_the_span(start):
    first = parse_utc(start)
    edges = solar_longitude_edges(first, first + 10 * 86_400.0)
    assert edges[0] <= first
    assert edges[-1] >= first + 10 * 86_400.0
    longitude = solar_longitude_deg(edges)
    np.testing.assert_allclose((longitude + 0.5) % 1.0, 0.5, atol=1e-4)
    np.testing.assert_allclose(np.diff(longitude) % 360.0, 1.0, atol=1e-4)
    # The Sun moves by 0.953 to 1.019 degrees a day (Kepler's second law, eccentricity 0.0167).
    assert np.all((np.diff(edges) / 86_400.0 > 1 / 1.02) & (np.diff(edges) / 86_400.0 < 1 / 0.952))


def test_an_instant_lies_in_one_degree():
    instant = parse_utc("2026-03-20T14:46Z")
    edges = solar_longitude_edges(instant, instant)
    assert len(edges) == 2
    assert edges[0] <= instant < edges[1]
