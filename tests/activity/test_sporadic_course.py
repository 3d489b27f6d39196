import numpy as np
import pytest

from skyglint.activity.daily import compare_course
from skyglint.activity.response import channel_path
from skyglint.activity.sporadic_course import expected_course
from skyglint.site import parse_site
from skyglint.utc import parse_utc

SITE = """
[site]
name = "Harrow Fell"
latitude_deg = {latitude}
longitude_deg = -2.93
height_m = 210
timezone = "UTC"
[antenna]
azimuth_deg = {azimuth}
elevation_deg = 35
gain_dbi = 6.0
beamwidth_deg = 65
height_above_ground_m = 2.5
polarization = "horizontal"
[receiver]
source = "usb://0"
center_frequency_hz = 98_000_000
sample_rate_hz = 2_400_000
gain_db = 30.0
correction_ppm = 0.0
[[channel]]
name = "far"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = {to_latitude}
longitude_deg = {to_longitude}
"""
HOURS = np.arange(24) + 0.5
SEASONS = ["2026-03-20", "2026-06-21", "2026-09-23", "2026-12-21"]


def made_path(azimuth=46, latitude=54.61, to_latitude=58.72, to_longitude=6.05):
    site = parse_site(
        SITE.format(latitude=latitude, azimuth=azimuth, to_latitude=to_latitude, to_longitude=to_longitude)
    )
    return channel_path(site, site.channel[0])


@pytest.mark.parametrize("date", SEASONS)
@pytest.mark.parametrize(
    ("azimuth", "to_latitude", "to_longitude"), [(46, 58.72, 6.05), (90, 54.0, 8.0), (180, 48.0, -3)]
)
def test_the_course_follows_the_rules_of_the_trade(date, azimuth, to_latitude, to_longitude):
    # Common practice: most echoes between local midnight and noon, and a swing that the path and the season change.
    course = expected_course(made_path(azimuth, 54.61, to_latitude, to_longitude), parse_utc(f"{date}T12:00Z"), HOURS)
    assert course.mean() == pytest.approx(1.0, abs=0.02)
    assert course[:12].sum() > 1.2 * course[12:].sum()
    assert course.min() >= 0


def test_the_northern_autumn_is_the_southern_spring():
    # The same path mirrored at the equator, half a year apart, sees the apex at the same height.
    north = expected_course(made_path(), parse_utc("2026-09-23T12:00Z"), HOURS)
    assert north[:12].max() > north[12:].max()
    south = expected_course(made_path(134, -54.61, -58.72, 6.05), parse_utc("2026-03-20T12:00Z"), HOURS)
    assert south[:12].max() > south[12:].max()
    assert np.corrcoef(north, south)[0, 1] > 0.6


def test_counts_of_the_expected_course_agree_and_a_turned_day_does_not():
    path = made_path()
    generator = np.random.default_rng(1)
    exposure = np.full(24 * 30, 0.9)
    hour = (np.arange(24 * 30) + 0.5) % 24
    course = expected_course(path, parse_utc("2026-09-23T00:00Z"), hour)
    right = compare_course(generator.poisson(15 * course * exposure), exposure, course)
    assert right.factor == pytest.approx(15, rel=0.04)
    assert right.probability > 0.001
    turned = np.roll(course, 12)
    wrong = compare_course(generator.poisson(15 * turned * exposure), exposure, course)
    assert wrong.probability < 1e-9


def test_a_path_without_a_layer_expects_nothing():
    path = made_path(to_longitude=60.0)
    assert np.all(expected_course(path, parse_utc("2026-09-23T12:00Z"), HOURS) == 0.0)
