"""Whose a reading is, what is only a limit, and what full scale is worth."""

import pytest

from skyglint.horizon.matching import Candidates
from skyglint.site import parse_site
from skyglint.station.survey import Reading
from skyglint.station.survey_levels import is_limit, levels_of, station_of
from skyglint.transmitters.transmitter import Transmitter

SITE = parse_site("""
[site]
name = "Harrow Fell"
latitude_deg = 54.6137
longitude_deg = -2.9312
height_m = 40
timezone = "Europe/London"

[antenna]
azimuth_deg = 0
elevation_deg = 0
gain_dbi = 0.0
beamwidth_deg = 360
height_above_ground_m = 8.0
polarization = "horizontal"

[receiver]
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 98_000_000
sample_rate_hz = 2_400_000
gain_db = 30.0
correction_ppm = 0.0

[[channel]]
name = "quiet"
role = "guard"
kind = "fm"
frequency_hz = 98_700_000
""")


def mast(name, frequency_hz, north_deg, pi="", power_w=1000.0):
    return Transmitter(name, frequency_hz, "fm", 54.6137 + north_deg, -2.9312, power_w, 0.0, height_m=140.0, rds_pi=pi)


CANDIDATES = Candidates.of(
    SITE,
    [
        mast("Town", 97.7e6, 0.05, "C8F4"),
        mast("East", 98.1e6, 0.9, "D111"),
        mast("West", 98.1e6, 1.0, "D222"),
        mast("Bare", 98.4e6, 0.8),
    ],
    40.0,
)


def reading(frequency_hz, rise_db=20.0, pi="", noise_dbfs=-50.0):
    return Reading(0.0, frequency_hz, 150e3, noise_dbfs + rise_db, noise_dbfs, 0.3, pi)


def names(*readings):
    return [station_of(one, CANDIDATES)[1] for one in readings]


def test_the_programme_code_decides():
    assert names(reading(98.1e6), reading(98.1e6, pi="D222"), reading(98.1e6, pi="D111")) == ["", "West", "East"]
    assert names(reading(97.7e6), reading(97.7e6, pi="C8F4"), reading(97.7e6, pi="BEEF")) == [
        "Town", "Town", "programme BEEF",
    ]  # fmt: skip
    # A list without codes is not contradicted by one.
    assert names(reading(98.4e6, pi="BEEF")) == ["Bare"]


def test_what_the_noise_hides_is_a_limit():
    assert is_limit(reading(98.1e6, 0.5), [])
    assert not is_limit(reading(98.1e6, 3.0), [])


@pytest.mark.parametrize(("apart_hz", "stronger_db", "limited"), [
    (100e3, 5, True), (200e3, 20, False), (200e3, 33, True), (400e3, 60, False),
])  # fmt: skip
def test_what_a_neighbour_may_leak_is_a_limit(apart_hz, stronger_db, limited):
    weak = reading(98.1e6, 10.0)
    strong = Reading(0.0, 98.1e6 + apart_hz, 150e3, weak.power_dbfs + stronger_db, -50.0, 0.3)
    assert is_limit(weak, [weak, strong]) == limited
    assert not is_limit(strong, [weak, strong])


def test_full_scale_from_a_near_station():
    levels, scale = levels_of([reading(97.7e6, 30.0), reading(98.1e6, 0.0)], CANDIDATES)
    # 1 kW at 5.57 km (0.05 degree of meridian), 100 and 8 m: plane Earth 40 log d - 20 log 800 = 91.8 dB under 62.15
    # dBm; the reading stands at -20.0 dB over full scale.
    assert levels[0].level_dbm == pytest.approx(62.15 - 91.8, abs=1.0)
    assert scale.full_scale_dbm == pytest.approx(62.15 - 91.8 + 20.0, abs=1.0)
    assert scale.how == "from one near station, where both models agree"
    # A limit stands 5.87 dB under the noise: a rise of 1 dB.
    assert levels[1].is_limit
    assert levels[1].level_dbm == pytest.approx(-50 - 5.87 + scale.full_scale_dbm, abs=0.01)


def test_full_scale_from_the_noise_or_as_stated():
    far = [reading(98.4e6)]
    _, scale = levels_of(far, CANDIDATES)
    # ITU-R P.372, residential, 98.4 MHz, 6 dB receiver: 17.85 dB over kT0 in 150 kHz (-122.2 dBm) is -104.4 dBm.
    assert scale.full_scale_dbm == pytest.approx(-104.4 + 50.0, abs=0.2)
    assert "P.372" in scale.how
    assert levels_of(far, CANDIDATES, full_scale_dbm=-20.0)[0][0].level_dbm == pytest.approx(-50.04, abs=0.02)
    assert levels_of([], CANDIDATES) == ([], None)
