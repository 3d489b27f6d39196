"""Satellite passes on the live page, on their own page and in the interface; never for the exact place."""

import shutil

import pytest
from playwright.sync_api import sync_playwright
from tests.web.conftest import NOW, SITE, make_message
from tests.web.test_pages_browser import FAINT, NAMES, STICKS_OUT

from skyglint.plan.satellite_passes import site_place
from skyglint.sky.orbits.reading import parse_elements
from skyglint.sky.satellites import Place, doppler_hz, emission_unix, path_rate_km_s, satellite
from skyglint.utc import format_utc
from skyglint.web.pass_pages import gather_passes

# Invented: MARLIN 1 is up at the station's present.
ELEMENTS = """\
OBJECT_NAME,OBJECT_ID,EPOCH,MEAN_MOTION,ECCENTRICITY,INCLINATION,RA_OF_ASC_NODE,ARG_OF_PERICENTER,MEAN_ANOMALY,\
NORAD_CAT_ID,BSTAR
MARLIN 1,2026-012A,2026-08-12T12:00:00,15.4930962,.0006703,51.6416,247.4627,130.536,325.0288,400000,.0001
GANNET <2>,2026-012B,2026-08-12T12:00:00Z,14.2030962,.0011703,98.5416,27.4627,30.536,125.0288,99992,.00001
"""
STATION = '[station]\nelements = "today.csv"\n\n[[channel]]'
OWN_CHANNEL = """
[[channel]]
name = "gannet"
role = "target"
kind = "carrier"
frequency_hz = 98_430_000
satellite = 99992
"""


@pytest.fixture(scope="module")
def station(tmp_path_factory, build_station):
    folder = tmp_path_factory.mktemp("passes")
    path = build_station(folder, nights=1, echoes=5)
    powered = SITE.replace("longitude_deg = 5.3\n", "longitude_deg = 5.3\npower_w = 100_000\n")
    path.write_text(powered.replace("[[channel]]", STATION, 1) + OWN_CHANNEL, encoding="utf-8")
    (folder / "today.csv").write_text(ELEMENTS, encoding="utf-8")
    return path


def test_the_live_page_tells_of_the_next_passes(context, client):
    html = client.get("/").text
    assert "Next satellite passes" in html
    assert "MARLIN 1 <b>now</b>" in html
    assert "GANNET &lt;2&gt;" in html
    assert "<b>gannet</b>: its own signal" in html
    assert "no hope" in html
    assert '<a href="/passes">Passes</a>' in html
    (first, *_) = context.overhead.passes(NOW, NOW + 3_600.0)
    assert format_utc(first.when.culmination_unix, 0)[11:19] in html


def test_the_page_of_passes(client):
    first, second = client.get("/passes").text, client.get("/passes?day=1").text
    assert first.count('<article class="card pass"') > 5
    assert "own signal, gannet" in first
    assert "way of MARLIN 1 over the sky" in first
    assert "rounded to 0.1°" in first
    assert "2026-08-13 03:31 to 2026-08-14 03:31" in first
    assert "2026-08-14 03:31 to 2026-08-15 03:31" in second
    assert client.get("/passes?day=3").status_code == 422


def test_every_pass_stands_on_one_page_only(context, client):
    found = [one.when.start_unix for day in range(3) for one in gather_passes(context, day).passes]
    assert len(found) == len(set(found)) == len(context.overhead.passes(NOW, NOW + 3 * 86_400.0))


def test_the_curves_are_those_of_the_rounded_place(context, client):
    answer = client.get("/api/v1/live/passes").json()
    (one,) = [found for found in answer["passes"] if found["catalog_number"] == 400000]
    (curve,) = [found for found in one["curves"] if found["channel"] == "beacon <b>"]
    # The exact place, to a few hundred metres, would be told by the shifts: they are those of 54.6, -2.9.
    body = satellite(parse_elements(ELEMENTS, "x").elements[0])
    rounded = context.site.site.model_copy(update={"latitude_deg": 54.6, "longitude_deg": -2.9})
    places = [site_place(context.site.model_copy(update={"site": site})) for site in (rounded, context.site.site)]
    transmitter = Place(50.2, 5.3, 0.0)
    known = [(unix, hertz) for unix, hertz in zip(curve["unix"], curve["doppler_hz"], strict=True) if hertz is not None]
    unix = [time for time, _ in known]
    shifts = [
        doppler_hz(path_rate_km_s(body.motion(emission_unix(body, place, unix)), place, transmitter), 98.45e6)
        for place in places
    ]
    assert [hertz for _, hertz in known] == pytest.approx(shifts[0].tolist(), abs=1.0)
    assert abs(shifts[0] - shifts[1]).max() > 5.0


def test_without_elements_nothing_is_shown(tmp_path, build_station, context_for, client_of):
    path = build_station(tmp_path, nights=1, echoes=5)
    with client_of(context_for(path)) as client:
        assert "satellite passes" not in client.get("/").text
        assert "names no orbital elements" in client.get("/passes").text
        assert client.get("/api/v1/live/passes").json() == {"passes": []}


def test_trouble_with_the_file_is_told(tmp_path, build_station, context_for, client_of):
    path = build_station(tmp_path, nights=1, echoes=5)
    path.write_text(SITE.replace("[[channel]]", STATION, 1), encoding="utf-8")
    with client_of(context_for(path)) as client:
        assert "today.csv: no such file of orbital elements" in client.get("/").text
        assert "no such file of orbital elements" in client.get("/passes").text
        assert str(tmp_path) not in client.get("/").text + client.get("/passes").text


@pytest.fixture
def page():
    path = next(filter(None, map(shutil.which, NAMES)), None)
    assert path, "the pages are tested in a real browser: install Chromium"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield browser.new_page()
        browser.close()


def test_in_a_browser(context, served, page):
    with served(context) as running:
        page.goto(running.url)
        names = [channel.name for channel in context.site.channel]
        for lane in ("beacon <b>", "north-sea"):
            page.get_by_role("button", name=f"spectrogram of {lane}").click()
        for k in range(8):
            running.publish(make_message(NOW + 60.0 + 0.1 * k, names))
            page.wait_for_timeout(150)
        labels = [
            page.locator(f'[data-channel="{lane}"] .spectrum-canvas').get_attribute("aria-label")
            for lane in ("beacon <b>", "north-sea")
        ]
        assert "broken, where MARLIN 1 should stand" in labels[0]
        assert "should stand" not in labels[1]
        for address in ("/", "/passes"):
            for width in (360, 1440):
                page.set_viewport_size({"width": width, "height": 900})
                page.goto(running.url + address)
                page.wait_for_timeout(200)
                assert page.evaluate(STICKS_OUT) == []
                assert page.evaluate(FAINT) == []
