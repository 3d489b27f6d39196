"""The night page in a real browser: what only a browser can tell."""

import csv
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from skyglint.report.gather import gather_night
from skyglint.report.page import render_night
from skyglint.report.table_files import write_table
from skyglint.report.tables import make_table
from skyglint.report.tokens import DARK, LIGHT
from skyglint.store import Store

WIDTHS = (360, 390, 820, 1440)
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = next(filter(None, map(shutil.which, NAMES)), None)
    assert path, "the pages are tested in a real browser: install Chromium"
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture(scope="module")
def files(nights, outage_store, tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("pages")
    written = {name: folder / f"{name}.html" for name in (*nights, "stored")}
    for name, page in nights.items():
        written[name].write_text(render_night(page), encoding="utf-8")
    with Store.open(outage_store) as store:
        written["stored"].write_text(render_night(gather_night(store)), encoding="utf-8")
    return written


def opened(browser: Browser, file: Path, width: int = 1440, scheme: str = "light") -> Page:
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page.goto(file.as_uri())
    return page


@pytest.mark.parametrize("name", ["full", "short", "empty", "outage", "long"])
def test_nothing_is_wider_than_the_screen(browser, files, name):
    # The test looks at every box, because what sticks out of a hidden overflow cannot be read either.
    script = """() => [...document.querySelectorAll('body *:not(title)')]
        .filter(e => e.checkVisibility() && e.getBoundingClientRect().width > 0)
        .filter(e => e.getBoundingClientRect().right > innerWidth + 0.5 || e.getBoundingClientRect().left < -0.5)
        .map(e => e.outerHTML.slice(0, 120))"""
    for scheme in ("light", "dark"):
        page = opened(browser, files[name], scheme=scheme)
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (width, scheme)
            assert page.evaluate(script) == [], (width, scheme)
        page.close()


@pytest.mark.parametrize("name", ["full", "empty"])
def test_the_page_is_whole_and_asks_for_nothing(browser, files, name):
    page = browser.new_page()
    complaints, requests = [], []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: requests.append(request.url))
    page.goto(files[name].as_uri())
    assert complaints == []
    assert [url for url in requests if not url.startswith("data:")] == [files[name].as_uri()]
    page.close()


@pytest.mark.parametrize(("scheme", "palette"), [("light", LIGHT), ("dark", DARK)])
def test_the_readers_scheme_is_kept(browser, files, scheme, palette):
    page = opened(browser, files["short"], scheme=scheme)
    expected = tuple(int(palette.paper[i : i + 2], 16) for i in (1, 3, 5))
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == f"rgb{expected}"
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    page.close()


def test_every_mark_has_its_words_and_every_picture_an_alternative(browser, files):
    page = opened(browser, files["full"])
    marks = page.evaluate(
        "[...document.querySelectorAll('.strip a')].map(a => [a.querySelector('title')?.textContent, a.hash])"
    )
    assert len(marks) == page.evaluate("document.querySelectorAll('table.echoes tbody tr').length")
    assert all(re.match(r"[a-zE -]+, .+ UTC, .+dB.*, .+s$", words) for words, _ in marks)
    figures = page.evaluate(
        "[...document.querySelectorAll('svg:not(svg svg)')].filter(s => s.getAttribute('aria-hidden') != 'true')"
        ".map(s => (s.matches('[role=img]') ? s : s.querySelector('[role=img]'))?.getAttribute('aria-label'))"
    )
    assert len(figures) > 30
    assert all(figures)
    page.close()


def test_a_mark_leads_to_its_row_even_behind_the_fold(browser, files):
    page = opened(browser, files["full"])
    last = page.locator("table.echoes tbody tr").last
    assert not last.is_visible()
    page.evaluate("id => { location.hash = id }", last.get_attribute("id"))
    assert last.is_visible()
    page.close()


def cells(page: Page, table: str) -> list[list[str]]:
    texts: list[list[str]] = page.evaluate(
        "table => [...document.querySelectorAll(table + ' tbody tr')].map(r => [...r.cells].map(c => {"
        "const copy = c.cloneNode(true); copy.querySelectorAll('.phone').forEach(p => p.remove());"
        "return copy.textContent.trim(); }))",
        table,
    )
    return [[cell.replace("\u202f", " ").replace("−", "-") for cell in row] for row in texts]


def exported(store_path: Path, folder: Path, name: str) -> list[dict[str, str]]:
    file = folder / f"{name}.csv"
    with Store.open(store_path) as store:
        write_table(make_table(store, name), file, "csv")
    with file.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def agree(shown: str, exact: str, unit: str) -> bool:
    """Tell whether a shown number is the exact one, rounded to the digits shown; blank stands for blank."""
    if not shown or not exact:
        return shown == exact
    number = shown.removesuffix(unit).strip()
    decimals = len(number.partition(".")[2])
    return abs(float(number) - float(exact)) <= 0.5 * 10.0**-decimals + 1e-6


def test_the_table_of_echoes_says_what_the_exported_file_says(browser, files, outage_store, tmp_path):
    page = opened(browser, files["stored"])
    rows = exported(outage_store, tmp_path, "echoes")
    open_rows = cells(page, "section > table.echoes")
    folded_rows = [[*row[:3], "", *row[3:]] for row in cells(page, "details > table.echoes")]
    shown = open_rows + folded_rows
    assert len(shown) == len(rows)
    for (number, utc, channel, _, kind, peak, lasted, decay, doppler, height, pi, flags), row in zip(
        shown, rows, strict=True
    ):
        assert number == row["id"]
        assert abs(float(utc[-5:]) - float(row["start_utc"][17:23])) <= 0.0051
        assert utc[:5] == row["start_utc"][11:16]
        assert (channel, pi, flags.replace(", ", ";")) == (row["channel"], row["rds_pi"], row["flags"])
        assert kind.replace("head echo", "head").replace("sporadic E", "sporadic-e") == row["class"]
        assert agree(peak, row["peak_snr_db"], "dB")
        assert agree(lasted, row["duration_s"], "s")
        for text, name, unit in ((decay, "decay_time", "s"), (doppler, "doppler", "Hz"), (height, "height", "km")):
            value, _, error = text.partition(" ± ")
            ending = {"s": "_s", "Hz": "_hz", "km": "_km"}[unit]
            if row[f"{name}{ending}"]:
                assert agree(error, row[f"{name}_sd{ending}"], unit)
            assert agree(value, row[f"{name}{ending}"], "")
    page.close()


def test_the_rates_say_what_the_exported_file_says(browser, files, outage_store, tmp_path):
    page = opened(browser, files["stored"])
    rows = {(row["channel"], row["start_utc"][11:16]): row for row in exported(outage_store, tmp_path, "rates")}
    shown = cells(page, "table.rates")
    assert {(row[0], row[1]) for row in shown} == {key for key in rows if key[0] != "town"}
    for channel, hour, echoes, _, _, rate in shown:
        row = rows[channel, hour]
        if not row["rate_per_h"]:
            assert (echoes, rate) == ("", "")
            continue
        assert echoes == row["echoes"]
        numbers = re.fullmatch(r"([\d.]+) \(([\d.]+) to ([\d.]+)\) / h", rate).groups()
        for number, name in zip(numbers, ("rate_per_h", "rate_low_per_h", "rate_high_per_h"), strict=True):
            assert agree(number, row[name], "")
    counts = dict(
        page.evaluate(
            "[...document.querySelectorAll('.row.target:not(.floor)')].map(r => "
            "[r.querySelector('.who b').textContent, r.querySelector('.sum b').textContent])"
        )
    )
    for channel, count in counts.items():
        assert int(count) == sum(int(row["echoes"]) for (name, _), row in rows.items() if name == channel)
    page.close()
