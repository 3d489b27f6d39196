"""The page of passes: everything on it, escaped, self-contained, honest about what cannot be."""

import math
import re

from skyglint.plan.satellite_passes import predict
from skyglint.report.passes_page import MOST_DRAWN, PassesPage, render_passes
from skyglint.site import parse_site
from skyglint.sky.orbits.reading import parse_elements
from skyglint.utc import parse_utc

SITE_FILE = """
[site]
name = "Harrow <Fell>"
latitude_deg = 54.61
longitude_deg = -2.93
height_m = 210
timezone = "Europe/London"
[antenna]
azimuth_deg = 46
elevation_deg = 35
gain_dbi = 6.0
beamwidth_deg = 65
height_above_ground_m = 2.5
polarization = "horizontal"
[receiver]
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 98_000_000
sample_rate_hz = 2_400_000
gain_db = 30.0
correction_ppm = 0.0
[[channel]]
name = "north-sea"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = 58.72
longitude_deg = 6.05
power_w = 60_000
[[channel]]
name = "antipode"
role = "target"
kind = "fm"
frequency_hz = 98_900_000
latitude_deg = -54.6
longitude_deg = 177.0
power_w = 60_000
"""
ELEMENTS = """\
OBJECT_NAME,OBJECT_ID,EPOCH,MEAN_MOTION,ECCENTRICITY,INCLINATION,RA_OF_ASC_NODE,ARG_OF_PERICENTER,MEAN_ANOMALY,\
NORAD_CAT_ID,BSTAR
GLINT <b>,2026-012A,2026-11-20T12:00:00,15.4930962,.0006703,51.6416,247.4627,130.536,325.0288,400000,.0001
"""


def page_of(start="2026-11-20T12:00:00Z", hours=24.0, beacon_hz=137.1e6, least=0.0, step_s=30.0):
    site = parse_site(SITE_FILE)
    start_unix = parse_utc(start)
    end_unix = start_unix + hours * 3600
    elements = parse_elements(ELEMENTS, "today.csv").elements
    passes = predict(
        site, elements, start_unix, end_unix, beacon_hz=beacon_hz, least_elevation_deg=least, step_s=step_s
    )
    return PassesPage(site, start_unix, end_unix, tuple(passes), beacon_hz, 100.0)


def test_every_pass_has_its_row_track_and_curves():
    page = page_of()
    html = render_passes(page)
    assert len(page.passes) > 3
    assert html.count('<article class="card pass"') == len(page.passes)
    assert html.count('aria-label="way of ') == len(page.passes)
    assert html.count("<figcaption>beacon, 137.1") == len(page.passes)
    assert "no hope" in html
    assert "The transmitter never sees the satellite while it is up here." in html
    assert "reflection, antipode" not in html


def test_names_are_escaped_and_nothing_is_loaded_from_elsewhere():
    html = render_passes(page_of(hours=12))
    assert "GLINT <b>" not in html
    assert "Harrow &lt;Fell&gt;" in html
    assert not re.search(r'(src|href)="(?!#)', html)
    assert "nan" not in re.sub(r"[a-z]*nan[a-z]+|[a-z]+nan", "", html)


def test_the_place_is_not_told():
    html = render_passes(page_of(hours=12))
    assert "54.6" not in html
    assert "Think before you publish" in html


def test_without_a_beacon_there_is_no_curve_of_it():
    assert "beacon" not in render_passes(page_of(beacon_hz=math.nan))


def test_no_passes_are_said_in_words():
    html = render_passes(page_of(least=89.9, hours=6))
    assert "No passes from" in html
    assert "No satellite of the given elements rises high enough" in html


def test_many_passes_are_listed_and_the_first_drawn():
    page = page_of(hours=24.0 * 12, step_s=300.0)
    html = render_passes(page)
    assert len(page.passes) > MOST_DRAWN
    assert html.count('<article class="card pass"') == MOST_DRAWN
    assert html.count('<td class="name">') >= len(page.passes)
    assert re.search(r"elements \d+ days old: expect errors of about", html)
