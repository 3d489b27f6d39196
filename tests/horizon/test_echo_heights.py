"""The lowest height that both ends see, and the share of echoes above it."""

import pytest

from skyglint.echoes.echo import Echo
from skyglint.horizon.echo_heights import echo_heights, lowest_common_height_km
from skyglint.store.records import StoredEcho


# R (1 / cos(d / 2R) - 1) with R = 6371 km: what both ends on the ground see above the middle.
@pytest.mark.parametrize(("kilometres", "expected"), [(1000, 19.671), (1500, 44.402), (2000, 79.294), (2200, 96.156)])
def test_lowest_height_over_the_middle(kilometres, expected):
    assert lowest_common_height_km(1e3 * kilometres, 0.0, 0.0) == pytest.approx(expected, abs=2e-3)


def test_a_high_mast_lowers_it_and_moves_it():
    # Horizon of 1000 m: 112.87 km. The rest of 1500 km is halved: R (1 / cos(693.6 km / R) - 1) = 37.9 km.
    found = lowest_common_height_km(1.5e6, 0.0, 1000.0)
    assert found == pytest.approx(37.94, abs=0.1)
    assert lowest_common_height_km(50e3, 500.0, 500.0) == 0.0


def stored(number, height_km, sd_km=2.0, channel="far", kind="underdense"):
    echo = Echo(channel, 10.0 * number, 0.2, 10.0 * number, 12.0, 1.0, kind, height_km=height_km, height_sd_km=sd_km)
    return StoredEcho(number, 1, echo)


def test_the_share_counts_meteors_with_a_height_on_their_channel():
    nan = float("nan")
    echoes = [
        stored(1, 95.0),
        stored(2, 42.0),  # 2.4 under the lowest height, less than two standard errors
        stored(3, 30.0),
        stored(4, nan),
        stored(5, 95.0, kind="aircraft"),
        stored(6, 95.0, channel="other"),
    ]
    (found,) = echo_heights({"far": (1500.0, 44.4)}, echoes)
    assert (found.consistent, len(found.heights_km)) == (2, 3)
    assert found.share == pytest.approx(2 / 3)
    assert "2 of 3 measured heights agree" in found.sentence
    assert "would fit over a plane as well" in found.sentence
    (none,) = echo_heights({"far": (1500.0, 44.4)}, [])
    assert "No echo's height was measured" in none.sentence
