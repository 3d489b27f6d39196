"""Pictures of every page, for looking at them: ``python scripts/pictures.py FOLDER [NAME...]``.

The tests' invented station is served, with an invented voice for its engine, and each page is taken at desktop and
phone width, light and dark.
"""

import importlib.util
import math
import sys
import tempfile
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from browser import find_browser
from playwright.sync_api import sync_playwright

from skyglint.errors import StoreError
from skyglint.station.live import LiveEcho
from skyglint.web.context import SESSION_COOKIE

SIZES = {"desktop": (1440, 1000), "phone": (390, 844)}


def tests_station():
    path = Path(__file__).parent.parent / "tests" / "web" / "conftest.py"
    spec = importlib.util.spec_from_file_location("station", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["station"] = module
    spec.loader.exec_module(module)
    return module


class Voice(threading.Thread):
    """Speaks for the engine: noise in every lane, and an echo now and then."""

    def __init__(self, station, running):
        super().__init__(daemon=True)
        self.station, self.running, self.state = station, running, ("watching", "")
        self.silent = False

    def run(self):
        """Speak ten times a second."""
        random = np.random.default_rng(4)
        names = [channel.name for channel in self.running.context.channels]
        unix, falling = self.running.context.clock(), {}
        for count in range(1_000_000):
            time.sleep(0.1)
            unix += 0.1
            if self.silent:
                continue
            told, echoes = self.station.make_message(unix, names), ()
            if count % 25 == 10:
                name, kind = names[count // 25 % 3], ("underdense", "overdense", "aircraft")[count // 75 % 3]
                falling[name] = unix
                echoes = (LiveEcho(name, unix, 0.6, 17.0, kind),)
            power = {name: abs(random.normal(0, 0.6)) for name in names}
            spectra = {name: random.normal(0, 2, 48).astype(np.float32) for name in names}
            for name, began in falling.items():
                power[name] += 20 * math.exp(-(unix - began) / 0.5)
                spectra[name] += (power[name] * np.exp(-(((np.arange(48) - 24) / 12) ** 2))).astype(np.float32)
            if self.state[0] != "watching":
                told = replace(told, state=self.state[0], sentence=self.state[1], power_db={}, spectra_db={})
            else:
                told = replace(told, power_db=power, spectra_db=spectra)
            self.running.publish(replace(told, echoes=echoes))


def wait(seconds):
    return lambda page, running, voice: page.wait_for_timeout(1000 * seconds)


def open_spectrograms(page, running, voice):
    for button in page.locator("button.link").all()[:2]:
        button.click()
    page.wait_for_timeout(6000)


def say(state, sentence):
    def change(page, running, voice):
        voice.state = (state, sentence)
        page.wait_for_timeout(1500)

    return change


def guess_tokens(page, running, voice):
    for _ in range(7):
        page.fill("input[name=token]", "a guess")
        page.click("main form button")
        if not page.locator("input[name=token]").count():
            return


def guess_token(page, running, voice):
    page.fill("input[name=token]", "a guess")
    page.click("main form button")


def judge(page, running, voice):
    page.locator('button[name="class"]').nth(1).click()
    page.go_back()
    page.reload()


def break_database(page, running, voice):
    archive = type(running.context.archive)
    reading = archive.reading

    def fail(self):
        raise StoreError("the disk failed")

    archive.reading = fail
    page.reload()
    archive.reading = reading


#: Name of a picture: address, what is done there first, and whether the operator is signed in.
PAGES = {
    "live-unheard": ("/", wait(0.5), False),
    "live": ("/", wait(3), False),
    "live-spectrograms": ("/", open_spectrograms, False),
    "live-lost": ("/", say("lost", "No samples: the receiver has sent nothing for 12 s."), False),
    "live-waiting": ("/", say("waiting", "Waiting for 22:04 UTC to begin."), False),
    "echo": ("/echoes/16", wait(0.3), False),
    "echo-carrier": ("/echoes/35", wait(0.3), False),
    "nights": ("/nights", wait(0), False),
    "night": ("/nights/2026-08-12", wait(0), False),
    "channels": ("/nights/2026-08-12/channels", wait(0), False),
    "review": ("/review", wait(0), False),
    "review-operator": ("/review", wait(0), True),
    "review-judged": ("/review", judge, True),
    "operator": ("/operator", wait(0), False),
    "operator-in": ("/operator", wait(0), True),
    "operator-wrong": ("/operator", guess_token, False),
    "overlay": ("/overlay", wait(2), False),
    "data": ("/data", wait(0), False),
    "passes": ("/passes", wait(0), False),
    "problem-404": ("/nowhere", wait(0), False),
    "problem-422": ("/nights/2026-13-99", wait(0), False),
    "problem-429": ("/operator", guess_tokens, False),
    "problem-503": ("/echoes/3", break_database, False),
}


def take(browser, running, voice, name, folder):
    address, first, signed_in = PAGES[name]
    for size, (width, height) in SIZES.items():
        for scheme in ("light", "dark"):
            seen = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
            if signed_in:
                secret = running.context.sessions.begin()
                seen.add_cookies([{"name": SESSION_COOKIE, "value": secret, "url": running.url}])
            page = seen.new_page()
            page.goto(running.url + address)
            first(page, running, voice)
            page.screenshot(path=folder / f"{name}-{size}-{scheme}.png", full_page=True)
            seen.close()
            voice.state = ("watching", "")
            running.context.attempts._times.clear()


def main(folder, wanted):
    station = tests_station()
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as work, sync_playwright() as playwright:
        site = station.build_station(Path(work))
        browser = playwright.chromium.launch(executable_path=find_browser(), args=["--no-sandbox"])
        context = station.context_for(site)
        context.token.make_if_missing()
        with station.served(context) as running:
            voice = Voice(station, running)
            for name in [name for name in PAGES if not wanted or name in wanted]:
                if name != "live-unheard" and not voice.is_alive():
                    voice.start()
                    time.sleep(2)
                take(browser, running, voice, name, folder)
                print(name, flush=True)
            voice.silent = True
            browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), set(sys.argv[2:]))
