"""The pages in a real browser: what only a browser can tell."""

import io
import shutil
import threading
import time
from collections.abc import Iterator

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from skyglint.station.live import LiveEcho

WIDTHS = (360, 390, 820, 1440)
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
PAGES = (
    "/",
    "/overlay",
    "/passes",
    "/nights",
    "/nights/2026-08-12",
    "/nights/2026-08-12/channels",
    "/echoes/1",
    "/review",
    "/operator",
    "/data",
    "/nowhere",
)
#: Every box, because what sticks out of a hidden overflow cannot be read either; text for screen readers is outside.
STICKS_OUT = """() => [...document.querySelectorAll('body *:not(title)')]
    .filter(e => e.checkVisibility() && !e.closest('.skip, .visually-hidden, svg.map'))
    .filter(e => e.getBoundingClientRect().width > 0)
    .filter(e => e.getBoundingClientRect().right > innerWidth + 0.5 || e.getBoundingClientRect().left < -0.5)
    .map(e => e.outerHTML.slice(0, 160))"""
INK = """lane => { const c = document.querySelector(`[data-channel="${lane}"] canvas`);
    const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;
    let sum = 0; for (let i = 3; i < d.length; i += 4) sum = (sum * 31 + d[i] + d[i - 1]) % 1000000007; return sum; }"""

#: Text whose contrast with what lies under it is below 4.5 : 1, by the formula of WCAG 2.2 (relative luminance).
FAINT = """() => {
    const numbers = text => text.match(/[\\d.]+/g).map(Number);
    const light = ([r, g, b]) => [r, g, b].map(v => v / 255)
        .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
        .reduce((sum, v, k) => sum + v * [0.2126, 0.7152, 0.0722][k], 0);
    const ground = element => {
        for (let at = element; at; at = at.parentElement) {
            const colour = numbers(getComputedStyle(at).backgroundColor);
            if (colour.length === 3 || colour[3] === 1) return colour;
        }
        return null;
    };
    const found = [];
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
        const element = walker.currentNode.parentElement;
        if (!walker.currentNode.textContent.trim() || !element.checkVisibility()) continue;
        if (element.closest('script, style, title, .skip, .visually-hidden')) continue;
        const style = getComputedStyle(element);
        const ink = numbers(element.closest('svg') ? style.fill : style.color);
        const [a, b] = [light(ink), light(ground(element))].sort((x, y) => y - x);
        if ((a + 0.05) / (b + 0.05) < 4.5) found.push([element.outerHTML.slice(0, 120), style.color, style.fill]);
    }
    return found; }"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    path = next(filter(None, map(shutil.which, NAMES)), None)
    assert path, "the pages are tested in a real browser: install Chromium"
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        yield started
        started.close()


class Voice:
    """An engine's voice: ten messages a second from a thread, until it is hushed."""

    def __init__(self, running, message) -> None:
        self._running, self._message = running, message
        self._names = [channel.name for channel in running.context.channels]
        self._echoes: list[LiveEcho] = []
        self._hushed = threading.Event()
        self.unix = running.context.clock()
        self._thread = threading.Thread(target=self._speak, daemon=True)
        self._thread.start()

    def _speak(self) -> None:
        count = 0
        while not self._hushed.wait(0.1):
            self.unix += 0.1
            count += 1
            echoes, self._echoes = tuple(self._echoes), []
            self._running.publish(self._message(self.unix, self._names, 2.0 + count % 7, echoes))

    def close_echo(self, channel: str, kind: str, duration_s: float = 0.4) -> None:
        self._echoes.append(LiveEcho(channel, self.unix - duration_s, duration_s, 14.2, kind))

    def hush(self) -> None:
        self._hushed.set()
        self._thread.join()


@pytest.fixture(scope="module")
def running(station, tmp_path_factory, context_for, served):
    folder = tmp_path_factory.mktemp("browser")
    for name in ("site.toml", "station.db"):
        shutil.copy(station.parent / name, folder / name)
    with served(context_for(folder / "site.toml")) as made:
        yield made


@pytest.fixture
def voice(running, message) -> Iterator[Voice]:
    made = Voice(running, message)
    yield made
    made.hush()


def opened(browser: Browser, running, address: str, width: int = 1440, scheme: str = "light", **more) -> Page:
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme, **more)
    page.complaints = []
    # One advice of the browser is about how these tests read canvases back.
    page.on("console", lambda told: None if "willReadFrequently" in told.text else page.complaints.append(told.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on(
        "request",
        lambda asked: None if asked.url.startswith((running.url, "data:")) else page.complaints.append(asked.url),
    )
    page.goto(running.url + address)
    return page


@pytest.mark.parametrize("address", PAGES)
def test_every_page_fits_every_screen_and_complains_of_nothing(browser, running, voice, address):
    for scheme in ("light", "dark"):
        page = opened(browser, running, address, scheme=scheme)
        for width in WIDTHS:
            page.set_viewport_size({"width": width, "height": 900})
            page.wait_for_timeout(60)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (width, scheme)
            assert page.evaluate(STICKS_OUT) == [], (width, scheme)
        if address == "/nowhere":  # the browser itself notes the status
            page.complaints = [text for text in page.complaints if "404" not in text]
        assert page.complaints == []
        page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_all_text_stands_out_from_its_ground(browser, running, voice, scheme):
    for address in PAGES:
        if address == "/overlay":
            continue  # what lies under it is somebody's video
        page = opened(browser, running, address, scheme=scheme)
        assert page.evaluate(FAINT) == [], address
        page.close()


def test_every_page_can_be_walked_by_keyboard_and_the_focus_is_seen(browser, running, voice):
    for address in ("/", "/nights", "/nights/2026-08-12", "/echoes/1", "/review", "/operator", "/data"):
        page = opened(browser, running, address)
        wanted = page.locator("a:visible, button:visible, input:visible, audio:visible").count()
        reached, unseen = set(), []
        for _ in range(min(wanted, 40)):
            page.keyboard.press("Tab")
            place, ring, style, skipping = page.evaluate(
                """() => { const e = document.activeElement, s = getComputedStyle(e);
                    const all = [...document.querySelectorAll('*')];
                    return [all.indexOf(e), parseFloat(s.outlineWidth), s.outlineStyle, e.matches('.skip')]; }"""
            )
            reached.add(place)
            if not skipping and (ring < 2 or style == "none"):
                unseen.append(place)
        assert len(reached) >= min(wanted, 40) - 1, address
        assert unseen == [], address
        page.close()


def test_nothing_moves_for_those_who_want_no_motion(browser, running, voice):
    for motion, expected in (("reduce", "none"), ("no-preference", "settle")):
        page = opened(browser, running, "/", reduced_motion=motion)
        page.wait_for_selector(".mark-at")
        assert page.locator(".mark-at").first.evaluate("e => getComputedStyle(e).animationName") == expected
        page.close()


def test_a_night_prints_in_black_on_white_without_what_only_a_screen_needs(browser, running):
    page = opened(browser, running, "/nights/2026-08-12", scheme="dark")
    page.emulate_media(media="print", color_scheme="dark")
    assert not page.locator(".bar nav").first.is_visible()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") in (
        "rgb(255, 255, 255)",
        "rgba(0, 0, 0, 0)",
    )
    assert page.evaluate("getComputedStyle(document.querySelector('h1')).color") == "rgb(0, 0, 0)"
    page.close()


def test_lanes_move_and_marks_appear_within_a_second(browser, running, voice):
    page = opened(browser, running, "/")
    page.wait_for_function("() => document.getElementById('connection').textContent === 'Live'")
    before = page.evaluate(INK, "north-sea")
    marks = page.locator('[data-channel="north-sea"] .mark-at')
    had = marks.count()
    voice.close_echo("north-sea", "underdense")
    begin = time.monotonic()
    page.wait_for_function(
        "had => document.querySelectorAll('[data-channel=\"north-sea\"] .mark-at').length > had", arg=had, timeout=5000
    )
    assert time.monotonic() - begin < 1.0
    assert page.evaluate(INK, "north-sea") != before
    newest = marks.last
    assert "underdense, north-sea" in newest.get_attribute("title")
    assert newest.get_attribute("href").startswith("/live/echo?channel=north-sea&start_unix=")
    assert newest.locator("use").get_attribute("href") == "#mark-underdense"
    voice.close_echo("lowland", "aircraft")
    page.wait_for_selector('[data-channel="lowland"] .mark-at.dim use[href="#mark-other"]', state="attached")
    assert "aircraft on lowland" in page.locator("#fell").text_content()
    assert page.complaints == []
    page.close()


def test_ten_readings_a_second_arrive(browser, running, voice):
    page = opened(browser, running, "/")
    count = page.evaluate(
        """() => new Promise(done => { let n = 0; const s = new EventSource('/api/v1/live');
        s.addEventListener('reading', () => { n += 1; });
        s.addEventListener('open', () => setTimeout(() => { s.close(); done(n); }, 2000)); })"""
    )
    assert 15 <= count <= 21
    page.close()


def test_a_spectrogram_opens_and_closes(browser, running, voice):
    page = opened(browser, running, "/")
    button = page.get_by_role("button", name="spectrogram of quiet")
    button.click()
    canvas = page.locator('[data-channel="quiet"] .spectrum-canvas')
    page.wait_for_function(
        """() => { const c = document.querySelector('[data-channel="quiet"] .spectrum-canvas');
        const ink = () => c.getContext('2d').getImageData(c.width - 20, 0, 18, c.height).data;
        return c && c.width > 0 && ink().some(v => v > 0); }"""
    )
    assert button.get_attribute("aria-expanded") == "true"
    button.click()
    assert canvas.count() == 0
    assert page.complaints == []
    page.close()


def test_a_sound_only_when_it_is_asked_for(browser, running, voice):
    page = browser.new_page()
    page.add_init_script(
        "window.notes = 0; const make = AudioContext.prototype.createOscillator;"
        "AudioContext.prototype.createOscillator = function () { window.notes += 1; return make.call(this); };"
    )
    page.goto(running.url)
    page.wait_for_function("() => document.getElementById('connection').textContent === 'Live'")
    voice.close_echo("north-sea", "overdense", 2.0)
    page.wait_for_selector('[data-channel="north-sea"] .mark-at [href="#mark-overdense"]', state="attached")
    assert page.evaluate("window.notes") == 0
    page.get_by_role("button", name="Sound: off").click()
    voice.close_echo("lowland", "head", 0.2)
    voice.close_echo("lowland", "lightning", 0.01)
    page.wait_for_function("() => window.notes === 1")
    assert page.get_by_role("button", name="Sound: on").get_attribute("aria-pressed") == "true"
    page.close()


def test_a_silent_engine_is_told(browser, running, message):
    voice = Voice(running, message)
    page = opened(browser, running, "/")
    page.wait_for_function("() => document.getElementById('connection').textContent === 'Live'")
    assert "Listening since 22:10 UTC" in page.locator("#sentence").text_content()
    voice.hush()
    page.wait_for_function("() => document.getElementById('connection').textContent.startsWith('No readings since')")
    assert not page.evaluate("document.querySelector('.pulse').classList.contains('on')")
    page.close()


def test_without_script_the_page_is_a_still(browser, running, voice):
    page = opened(browser, running, "/", java_script_enabled=False)
    for lane in ("north-sea", "quiet"):
        assert page.locator(f'[data-channel="{lane}"] svg.strip').is_visible()
    assert page.locator("noscript .note").is_visible()
    assert page.locator(".last-card tbody tr").count() == 12
    assert not page.locator("#sound").is_visible()
    page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_overlay_is_transparent(browser, running, voice, scheme):
    page = opened(browser, running, "/overlay?channel=lowland", scheme=scheme)
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgba(0, 0, 0, 0)"
    assert page.evaluate("getComputedStyle(document.documentElement).backgroundColor") == "rgba(0, 0, 0, 0)"
    picture = Image.open(io.BytesIO(page.screenshot(omit_background=True)))
    assert picture.getpixel((700, 800)) == (0, 0, 0, 0)
    assert picture.getpixel((40, 40))[3] > 150
    before = int(page.locator("[data-total]").text_content())
    voice.close_echo("lowland", "head")
    page.wait_for_function("() => document.getElementById('last').textContent.startsWith('Last: head')")
    assert int(page.locator("[data-total]").text_content()) == before + 1
    page.close()


def test_the_operator_reviews_by_keyboard(browser, running):
    context = running.context
    token = context.token.make_if_missing()
    page = opened(browser, running, "/operator")
    page.get_by_label("Token").fill(token)
    page.keyboard.press("Enter")
    page.wait_for_url("**/review")
    assert page.complaints == []

    def current() -> int:
        return int(page.locator("form.verdict").get_attribute("action").rsplit("/", 1)[1])

    first = current()
    page.keyboard.press("r")
    page.keyboard.type("slow and long")
    page.keyboard.press("Escape")
    page.keyboard.press("a")
    page.wait_for_url(f"**/review?after={first}")
    second = current()
    assert second != first
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/review?after={second}")
    third = current()
    page.keyboard.press("ArrowRight")
    page.wait_for_url("**/review?echo=*")
    assert current() not in (first, second, third)
    with context.archive.reading() as store:
        judged = {entry.id: entry for entry in store.echoes() if entry.verdict}
    assert set(judged) == {first, second}
    assert (judged[first].echo_class, judged[first].verdict.remark) == ("aircraft", "slow and long")
    assert judged[second].echo_class == judged[second].echo.echo_class
    page.goto(f"{running.url}/review?echo={first}")
    page.keyboard.press("z")
    page.wait_for_function("() => !document.body.textContent.includes('Judged aircraft')")
    with context.archive.reading() as store:
        assert store.echo(first).verdict is None
    assert page.complaints == []
    page.close()
