"""The month page in a real browser: what only a browser can tell."""

import shutil

import pytest
from playwright.sync_api import sync_playwright

from skyglint.report.season_gather import gather_season
from skyglint.report.season_page import render_season
from skyglint.report.tokens import DARK, LIGHT
from skyglint.store import Store

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
WIDE = """() => [...document.querySelectorAll('body *:not(title)')]
    .filter(e => e.checkVisibility() && e.getBoundingClientRect().width > 0)
    .filter(e => e.getBoundingClientRect().right > innerWidth + 0.5 || e.getBoundingClientRect().left < -0.5)
    .map(e => e.outerHTML.slice(0, 120))"""


@pytest.fixture(scope="module")
def browser():
    path = next(filter(None, map(shutil.which, NAMES)), None)
    assert path, "the pages are tested in a real browser: install Chromium"
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture(scope="module")
def files(month_page, month_store, tmp_path_factory):
    folder = tmp_path_factory.mktemp("seasons")
    with Store.open(month_store) as store:
        year = gather_season(store, "2026")
    pages = {"month": month_page, "year": year}
    for name, page in pages.items():
        (folder / f"{name}.html").write_text(render_season(page), encoding="utf-8")
    return {name: folder / f"{name}.html" for name in pages}


@pytest.mark.parametrize("name", ["month", "year"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_is_wider_than_the_screen(browser, files, name, scheme):
    page = browser.new_page(color_scheme=scheme)
    page.goto(files[name].as_uri())
    for width in (360, 390, 820, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
        assert page.evaluate(WIDE) == [], width
    page.close()


@pytest.mark.parametrize("name", ["month", "year"])
def test_the_page_is_whole_and_asks_for_nothing(browser, files, name):
    page = browser.new_page()
    complaints, requests = [], []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: requests.append(request.url))
    page.goto(files[name].as_uri())
    assert complaints == []
    assert requests == [files[name].as_uri()]
    figures = page.evaluate(
        "[...document.querySelectorAll('svg')].filter(s => s.getAttribute('aria-hidden') != 'true')"
        ".map(s => s.getAttribute('aria-label'))"
    )
    assert len(figures) >= 6
    assert all(figures)
    page.close()


@pytest.mark.parametrize(("scheme", "palette"), [("light", LIGHT), ("dark", DARK)])
def test_the_readers_scheme_and_the_printer_are_kept(browser, files, scheme, palette):
    page = browser.new_page(color_scheme=scheme)
    page.goto(files["month"].as_uri())
    expected = tuple(int(palette.paper[i : i + 2], 16) for i in (1, 3, 5))
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == f"rgb{expected}"
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    page.close()


def test_one_of_each_drawing_is_seen(browser, files):
    page = browser.new_page()
    page.goto(files["month"].as_uri())
    for width in (390, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        seen = page.evaluate("[...document.querySelectorAll('svg.map')].filter(s => s.checkVisibility()).length")
        assert seen == 1, width
    page.close()
