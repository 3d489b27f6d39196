"""The pages of plan and aim: whole, escaped, alone; in a real browser at desktop and phone width."""

import re
import shutil
from dataclasses import replace

import numpy as np
import pytest
from playwright.sync_api import sync_playwright

from skyglint.path.geodesy import geodesic
from skyglint.plan.aim_report import aim_report
from skyglint.plan.channels import channel_blocks, with_channels
from skyglint.plan.demo import demo_listing
from skyglint.plan.planning import make_plan
from skyglint.plan.selection import propose
from skyglint.plan.settings import PlanSettings
from skyglint.report.aim_page import aim_sentences, render_aim
from skyglint.report.figures import path_map, path_section
from skyglint.report.plan_page import PlanPage, render_plan
from skyglint.site import parse_site

SITE = """
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
name = "quiet"
role = "guard"
kind = "fm"
frequency_hz = 98_700_000
"""


@pytest.fixture(scope="module")
def page():
    stations = demo_listing().transmitters
    stations[7] = replace(stations[7], name="Mossgate <b>")
    plan = make_plan(parse_site(SITE), stations, PlanSettings())
    proposal = propose(plan)
    return PlanPage(plan, proposal, channel_blocks(proposal), ("own <list>.csv: 48 transmitters.",))


@pytest.fixture(scope="module")
def report(page):
    site = parse_site(with_channels(SITE, page.proposal, "x"))
    return aim_report(site, [], PlanSettings(), declination_deg=-1.0)


def test_the_plan_says_what_the_plan_found(page):
    html = render_plan(page)
    for one in page.plan.candidates[:12]:
        assert one.reasons[0] in html
    assert "Mossgate &lt;b&gt;" in html
    assert "<b>" not in re.sub(r"</?b>", "", html) or "Mossgate <b>" not in html
    assert "own &lt;list&gt;.csv" in html
    assert "Harrow &lt;Fell&gt;" in html
    assert "factor of about three" in html
    assert "power lines" in html
    assert "Lightning" in html
    assert "name = &#34;mossgate-b&#34;" in html
    assert "give away where the antenna stands" in html


def test_the_pages_ask_for_nothing_from_elsewhere(page, report):
    for html in (render_plan(page), render_aim(report)):
        assert not re.search(r"(?:src|href)=|url\((?!#)|@import|<script", html)


def test_an_empty_plan_explains_itself(page):
    empty = make_plan(page.plan.site, [], PlanSettings())
    html = render_plan(PlanPage(empty, None, "", ()))
    assert "No transmitter on the air lies within" in html
    assert "right sign" in html


def test_the_aim_speaks_in_sentences(report):
    text = " ".join(aim_sentences(report))
    assert f"point to {report.aim.azimuth_deg:.0f}° from true north" in text
    assert f"By the compass {report.magnetic_azimuth_deg:.0f}°" in text
    assert "Left at 0° elevation" in text
    assert "lobes at 18°, 66° and nulls at 38°" in text or "nulls at 37°" in text


def test_the_map_keeps_distances_and_bearings():
    # A place 500 km away on bearing 90 stands to the right of the middle, by half of a reach of 1000 km.
    mark = path_map.Mark("target", 500.0, 90.0, "there", "title")
    svg = str(path_map.path_map("map", 54.0, -3.0, 1000.0, [mark], []))
    radius = path_map.SIZE_PX / 2 - path_map.EDGE_PX
    x = path_map.SIZE_PX / 2 + radius / 2
    assert re.search(rf'<circle cx="{x:g}" cy="{path_map.SIZE_PX / 2:g}" r="4.5" class="target">', svg)


def test_the_graticule_passes_through_its_places():
    # The meridian 3 degrees west runs through the middle, and the parallel of 55 north stands above it by its distance.
    svg = str(path_map.path_map("map", 54.0, -5.0, 500.0, [], []))
    scale = (path_map.SIZE_PX / 2 - path_map.EDGE_PX) / 500.0
    up = path_map.SIZE_PX / 2 - float(geodesic(54.0, -5.0, 55.0, -5.0).distance_m) / 1e3 * scale
    points = [tuple(map(float, pair)) for pair in re.findall(r"[ML]([\d.]+) ([\d.]+)", svg)]
    nearest = min(np.hypot(x - path_map.SIZE_PX / 2, y - up) for x, y in points)
    assert nearest < 6


def test_the_section_is_to_scale():
    # 800 km along the ground over 304 px: the layer at 95 km stands 36 px above the ground, the bulge is 12.5 km.
    svg = str(path_section.path_section("s", 800.0, 0.2, 0.3, 5.0, 20.0))
    layer = [
        tuple(map(float, p))
        for p in re.findall(r"[ML]([\d.]+) ([\d.]+)", re.search(r'd="([^"]+)" class="layer"', svg)[1])
    ]
    ground = [
        tuple(map(float, p))
        for p in re.findall(r"[ML]([\d.]+) ([\d.]+)", re.search(r'd="([^"]+)" class="ground"', svg)[1])
    ]
    scale = 304.0 / 800.0
    assert ground[30][1] - layer[30][1] == pytest.approx(95 * scale, abs=0.3)
    assert ground[0][1] - ground[30][1] == pytest.approx(12.55 * scale, abs=0.1)
    assert "hidden" in svg


@pytest.mark.parametrize("kind", ["plan", "aim"])
def test_nothing_is_wider_than_the_screen(page, report, kind, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(render_plan(page) if kind == "plan" else render_aim(report), encoding="utf-8")
    program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
    assert program, "the pages are tested in a real browser: install Chromium"
    script = """() => [...document.querySelectorAll('body *:not(title)')]
        .filter(e => !e.closest('pre') && e.checkVisibility() && e.getBoundingClientRect().width > 0)
        .filter(e => e.getBoundingClientRect().right > innerWidth + 0.5 || e.getBoundingClientRect().left < -0.5)
        .map(e => e.outerHTML.slice(0, 120))"""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
        opened = browser.new_page()
        complaints = []
        opened.on("console", lambda message: complaints.append(message.text))
        opened.goto(path.as_uri())
        opened.evaluate("document.querySelectorAll('details').forEach((d, i) => { d.open = i < 6 })")
        for width in (360, 390, 820, 1440):
            opened.set_viewport_size({"width": width, "height": 900})
            assert opened.evaluate("document.documentElement.scrollWidth") <= width
            assert opened.evaluate(script) == [], width
        assert complaints == []
        browser.close()
