"""The page of the horizon experiment: what it says, what it keeps to itself, how a browser shows it."""

import dataclasses
import importlib.util
import re
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Browser, sync_playwright

from skyglint.echoes.echo import Echo
from skyglint.horizon.experiment import run_experiment
from skyglint.horizon.levels import read_levels
from skyglint.horizon.radius import Interval
from skyglint.report import horizon_words
from skyglint.report.horizon_page import gather_horizon, render_horizon, rounded
from skyglint.signals.block import SourceInfo
from skyglint.site import load_site
from skyglint.store import CoverageSpan, Store
from skyglint.transmitters.files import read_list

START = 1_786_536_000.0  # 2026-08-12T12:00:00Z
HOSTILE = '<script>alert("x")</script>'


def _simulator():
    name = "simulated_surveys"
    if name not in sys.modules:
        path = Path(__file__).parents[1] / "horizon" / "simulated.py"
        spec = importlib.util.spec_from_file_location(name, path)
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


def write_night(path, site_file):
    """A day with a morning maximum, echoes 95 km up, and a target as quiet as its guard."""
    site = load_site(site_file)
    rng = np.random.default_rng(3)
    hours = 24.0 * rng.random(400)
    kept = hours[rng.random(400) < 0.5 + 0.5 * np.cos(2 * np.pi * (hours - 18.2) / 24)]
    info = SourceInfo("day", "1", "cu8", 2.4e6, 98e6, START, START + 86_400, 96.8e6, 99.2e6)
    with Store.open(path, "create") as store:
        run = store.begin_run(site.site.name, site_file.read_text(), "scan", {}, START)
        with store.recording(run, info, site.channel) as writer:
            for hour in np.sort(kept):
                at = START + 3600 * hour
                writer.add_echoes(
                    [Echo("north-sea", at, 0.3, at, 15.0, 1.0, "underdense", 0.9, height_km=95.0, height_sd_km=3.0)]
                )
            for channel in site.channel:
                writer.add_coverage([CoverageSpan(channel.name, START, START + 86_400, "watched")])
                writer.add_floor(channel.name, START, 60.0, np.full(1440, -41.5, dtype=np.float32))
            writer.set_samples(1, 0.0)


@pytest.fixture(scope="module")
def cases(tmp_path_factory) -> dict[str, Path]:
    """Folders with the files of a round, a plane and a weak survey."""
    simulator, folders = _simulator(), {}
    made = {"round": (1.33, {"floor_dbm": -105.0}), "plane": (None, {}), "weak": (1.33, {"stations": 5, "far_km": 35})}
    for seed, (name, (factor, options)) in enumerate(made.items()):
        folders[name] = tmp_path_factory.mktemp(name)
        simulator.write_case(folders[name], np.random.default_rng(seed), factor, **options)
    write_night(folders["round"] / "night.db", folders["round"] / "site.toml")
    return folders


def page_of(folder, rename=None):
    site = load_site(folder / "site.toml")
    senders = read_list(folder / "list.csv").transmitters
    levels = list(read_levels(folder / "levels.csv").levels)
    if rename:
        senders[0] = dataclasses.replace(senders[0], name=rename)
        levels[0] = dataclasses.replace(levels[0], transmitter=rename)
    night = folder / "night.db"
    store = Store.open(night) if night.exists() else None
    try:
        found = run_experiment(site, senders, levels, store)
        return gather_horizon(found, senders, levels, store, ["Transmitters: list.csv."])
    finally:
        if store is not None:
            store.close()


@pytest.fixture(scope="module")
def pages(cases):
    return {name: page_of(folder) for name, folder in cases.items()}


@pytest.fixture(scope="module")
def texts(pages) -> dict[str, str]:
    return {name: render_horizon(page) for name, page in pages.items()}


def words_of(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", re.sub(r"<style.*?</style>", "", html, flags=re.S)))


def test_each_verdict_is_said_in_words(texts):
    assert "The levels say: round." in texts["round"]
    assert "The levels say: plane." in texts["plane"]
    assert "The levels cannot tell." in texts["weak"]
    assert "The effective radius that fits best" in texts["round"]
    for name in ("plane", "weak"):
        assert "The effective radius that fits best" not in texts[name]


def test_the_other_evidence_is_there(texts):
    text = words_of(texts["round"])
    assert "measured heights agree with that (median 95 km)" in text
    assert "From local midnight to noon" in text
    assert "No steady signal was found: at least" in text
    assert "alone favour a round Earth" in text
    assert "What would change the verdict" in text
    assert "Repeat it yourself" in text
    assert "Stay away from power lines" in text


def test_the_place_is_not_given_away(texts, pages):
    for text in texts.values():
        assert "54.6137" not in text
        assert "2.9312" not in text
        assert not re.search(r"\b54\.61|\b2\.93", words_of(text))
        assert "54.6° N, 2.9° W" in text
    # Distances of single transmitters are from the rounded place.
    exact, shown = (one.survey.links.distance_m for one in (pages["round"].experiment, pages["round"].shown))
    assert np.max(np.abs(exact - shown)) > 500
    place = rounded(pages["round"].experiment.site).site
    assert (place.latitude_deg, place.longitude_deg) == (54.6, -2.9)


def test_names_from_outside_are_escaped(cases):
    assert HOSTILE not in render_horizon(page_of(cases["plane"], rename=HOSTILE))


def test_a_page_without_levels_explains_itself(cases):
    site = load_site(cases["weak"] / "site.toml")
    found = run_experiment(site, [], [])
    text = words_of(render_horizon(gather_horizon(found, [], [], None, [])))
    assert "The levels cannot tell: no measured level could be used." in text
    assert "No levels were given." in text


def test_radii_are_told_to_three_digits(pages):
    assert horizon_words.kilometres(8494.7) == "8\u202f490\u202fkm"
    experiment = pages["round"].experiment
    result = dataclasses.replace(
        experiment.result,
        earth=Interval(6400, 6000, 6800, 5600, 7300),
        effective=Interval(8500, 8000, 9000, 7500, 9600),
    )
    first, second = horizon_words.radius_sentences(dataclasses.replace(experiment, result=result))
    assert "8\u202f500\u202fkm (68\u202f%: 8\u202f000\u202fkm to 9\u202f000\u202fkm" in first
    assert "6\u202f371\u202fkm: within the 95\u202f% interval" in second


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
    path = next(filter(None, map(shutil.which, names)), None)
    assert path, "the pages are tested in a real browser: install Chromium"
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture(scope="module")
def files(texts, tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("horizon-pages")
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return {name: folder / f"{name}.html" for name in texts}


@pytest.mark.parametrize("name", ["round", "plane", "weak"])
def test_nothing_is_wider_than_the_screen(browser, files, name):
    page = browser.new_page()
    requests = []
    page.on("request", lambda request: requests.append(request.url))
    page.goto(files[name].as_uri())
    for width in (360, 390, 820, 1440):
        page.set_viewport_size({"width": width, "height": 900})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, width
    assert requests == [files[name].as_uri()]
    page.close()


@pytest.mark.parametrize(("motion", "moving"), [("no-preference", True), ("reduce", False)])
def test_the_trail_moves_only_for_those_who_want_it(browser, files, motion, moving):
    page = browser.new_page(reduced_motion=motion)
    page.goto(files["round"].as_uri())
    names = page.evaluate("[...document.querySelectorAll('.lit *')].map(e => getComputedStyle(e).animationName)")
    assert any(name != "none" for name in names) == moving
    if not moving:
        shown = page.evaluate("getComputedStyle(document.querySelector('.streak')).strokeDasharray")
        assert shown == "none"
    page.close()
