import dataclasses
import re
from html.parser import HTMLParser

import pytest

from skyglint.report.page import FIRST_ROWS, render_night

HOSTILE = "<img src=x onerror=alert(1)> & \"quoted\" 'too'"


class Elements(HTMLParser):
    """Collects elements with their attributes, and the text outside the style sheet."""

    def __init__(self, html):
        super().__init__()
        self.found = []
        self.text = []
        self._open = []
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))
        self._open.append(tag)

    def handle_data(self, data):
        if self._open and self._open[-1] != "style":
            self.text.append(data)

    def named(self, tag):
        return [attributes for name, attributes in self.found if name == tag]


@pytest.fixture(scope="module")
def pages(nights):
    return {name: render_night(page) for name, page in nights.items()}


@pytest.mark.parametrize("name", ["full", "short", "empty", "outage"])
def test_the_page_needs_nothing_else(pages, name):
    elements = Elements(pages[name])
    assert not elements.named("script") + elements.named("link") + elements.named("iframe")
    for _, attributes in elements.found:
        for attribute in ("href", "src"):
            address = attributes.get(attribute, "#")
            assert address.startswith(("#", "data:image/png;base64,"))
    assert "@import" not in pages[name]
    assert not re.search(r"url\((?!#)", pages[name])


@pytest.mark.parametrize("name", ["full", "short", "empty", "outage"])
def test_every_link_inside_leads_somewhere_and_every_name_is_given_once(pages, name):
    elements = Elements(pages[name])
    names = [attributes["id"] for _, attributes in elements.found if "id" in attributes]
    assert len(names) == len(set(names))
    wanted = {a["href"][1:] for _, a in elements.found if a.get("href", "").startswith("#")}
    assert wanted <= set(names)


@pytest.mark.parametrize("name", ["full", "short", "empty", "outage"])
def test_every_figure_has_words(pages, name):
    for attributes in Elements(pages[name]).named("svg"):
        if attributes.get("role") == "img":
            assert len(attributes["aria-label"]) > 10


def test_a_hostile_name_is_only_text(nights):
    page = nights["short"]
    lane = page.lanes[0]
    channel = lane.channel.model_copy(update={"name": HOSTILE})
    echoes = tuple(
        dataclasses.replace(
            entry,
            echo=dataclasses.replace(entry.echo, channel=HOSTILE, reason=HOSTILE, flags=(HOSTILE,), rds_pi=HOSTILE),
        )
        for entry in page.echoes
    )
    lanes = (dataclasses.replace(lane, channel=channel), *page.lanes[1:])
    runs = (dataclasses.replace(page.runs[0], parameters={HOSTILE: HOSTILE}),)
    recordings = (dataclasses.replace(page.recordings[0], name=HOSTILE),)
    spoilt = dataclasses.replace(
        page, site_name=HOSTILE, lanes=lanes, echoes=echoes, best=echoes[:2], runs=runs, recordings=recordings
    )
    elements = Elements(render_night(spoilt))
    assert not elements.named("img")
    assert not any("onerror" in attributes for _, attributes in elements.found)
    assert sum(HOSTILE in text for text in elements.text) > 10
    labels = [attributes.get("aria-label") or "" for attributes in elements.named("svg")]
    assert any(HOSTILE in label for label in labels)


def test_the_exact_place_never_reaches_the_page(outage_store):
    from skyglint.report.gather import gather_night
    from skyglint.store import Store

    with Store.open(outage_store) as store:
        html = render_night(gather_night(store))
    # The site file has 54.6137 and -2.9312.
    assert "54.61" not in html
    assert "2.93" not in re.sub(r"base64,[A-Za-z0-9+/=]+", "", re.sub(r"<svg.*?</svg>", "", html, flags=re.S))
    assert "54.6° N, 2.9° W" in html


def test_long_nights_keep_every_echo_but_fold_most_of_them(nights, pages):
    rows = re.findall(r'<tr id="echo-(\d+)"', pages["full"])
    assert [int(number) for number in rows] == [entry.id for entry in nights["full"].echoes]
    open_part = pages["full"].partition("more echoes</summary>")[0]
    assert len(re.findall(r'<tr id="echo-', open_part)) == FIRST_ROWS


def test_guards_stand_last_on_their_own_tint(pages):
    roles = re.findall(r'<div class="row (target|reference|guard)">', pages["full"])
    assert roles == sorted(roles, key=["target", "reference", "guard"].index)
    assert roles[-1] == "guard"


def test_the_count_of_a_lane_is_the_tables(nights, pages):
    shown = [int(number) for number in re.findall(r'<div class="sum"><b>(\d+)</b>', pages["full"])]
    expected = [lane.night.echoes if lane.channel.role == "target" else lane.bursts for lane in nights["full"].lanes]
    assert shown == expected


def test_a_page_stays_small_enough_to_send(pages):
    assert max(len(html.encode()) for html in pages.values()) < 1_500_000


def test_an_operators_verdict_is_told_apart_from_the_machines(nights):
    from skyglint.store.records import Verdict

    page = nights["short"]
    first = dataclasses.replace(page.echoes[0], verdict=Verdict("aircraft", "observer", "", 0.0))
    html = render_night(dataclasses.replace(page, echoes=(first, *page.echoes[1:])))
    assert "aircraft</span> (operator)" in html
