"""Aiming: compass arithmetic, image theory, the worth of an aim."""

import numpy as np
import pytest

from skyglint.errors import RequestError
from skyglint.plan.aim_report import aim_document, aim_report
from skyglint.plan.settings import PlanSettings
from skyglint.site import parse_site

TARGET = """
[[channel]]
name = "north-sea"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = 58.72
longitude_deg = 6.05
power_w = 60_000
height_m = 720
"""


@pytest.fixture(scope="module")
def aimed_site(site_text):
    return parse_site(site_text + TARGET)


@pytest.fixture(scope="module")
def report(aimed_site):
    return aim_report(aimed_site, ["north-sea"], PlanSettings(), declination_deg=-1.5)


def test_compass_bearing_is_true_minus_declination(report):
    assert report.magnetic_azimuth_deg == pytest.approx((report.aim.azimuth_deg + 1.5) % 360)


def test_aims_along_the_path_and_beats_what_the_site_file_has(report):
    assert abs(report.aim.azimuth_deg - report.bearings_deg[0]) < 25
    # The tilt may cost 5 % of the best count, and the site file's aim cannot collect more than the best.
    assert report.present_keeps < 1.06
    assert 0.9 < report.flat_keeps < 1.08


def test_lobes_follow_the_height(report):
    # Image theory: asin(lambda / 4h) at 98.3 MHz and 2.5 m is 17.76 degrees; the null asin(lambda / 2h) 37.59.
    assert report.lobes_deg[0] == pytest.approx(17.76, abs=0.05)
    assert report.nulls_deg[0] == pytest.approx(37.59, abs=0.05)


def test_higher_collects_more_until_it_saturates(report):
    merit = dict(zip(report.heights_m.tolist(), report.height_merit.tolist(), strict=True))
    assert merit[0.5] < merit[1.5] < merit[3.0]
    assert report.height_merit.max() == pytest.approx(1.0)
    assert merit[report.best_height_m] >= 0.95


def test_most_echoes_come_from_between_the_ends(report):
    turn = (report.layer.azimuth_deg - report.bearings_deg[0] + 180) % 360 - 180
    towards = np.abs(turn) < 60
    assert report.echoes_per_h[towards].sum() > 0.7 * report.echoes_per_h.sum()


def test_a_compromise_lies_between_its_targets(site_text):
    second = TARGET.replace("north-sea", "coast").replace("58.72", "54.5").replace("6.05", "8.3")
    site = parse_site(site_text + TARGET + second)
    both = aim_report(site, [], PlanSettings())
    low, high = sorted(both.bearings_deg)
    assert low - 15 < both.aim.azimuth_deg < high + 15
    assert both.channels == ("north-sea", "coast")
    assert both.magnetic_azimuth_deg is None


def test_the_document_is_plain(report):
    document = aim_document(report)
    assert document["azimuth_deg"] == report.aim.azimuth_deg
    assert document["channels"] == ["north-sea"]


@pytest.mark.parametrize(
    ("names", "message"),
    [(["nobody"], 'no channel "nobody"'), (["old"], "latitude_deg, longitude_deg, power_w")],
)
def test_what_cannot_be_aimed_at(aimed_site, names, message):
    with pytest.raises(RequestError, match=message):
        aim_report(aimed_site, names, PlanSettings())


def test_nothing_to_aim_at(site):
    with pytest.raises(RequestError, match="nothing to point at"):
        aim_report(site, [], PlanSettings())


def test_too_far_away(site_text):
    site = parse_site(site_text + TARGET.replace("58.72", "-58.72"))
    with pytest.raises(RequestError, match="too far away"):
        aim_report(site, [], PlanSettings())
