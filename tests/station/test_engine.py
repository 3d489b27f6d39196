"""The engine through a night's troubles, with a receiver made here: nothing found is lost, and coverage stays true."""

import itertools
import json
import math
import re
import threading

import numpy as np
import pytest

from skyglint.errors import SourceError, StoreError
from skyglint.signals.block import Block, Encoding, Gap, SourceInfo
from skyglint.site import parse_site
from skyglint.station import engine as module
from skyglint.station import levels
from skyglint.station.disk import Disk
from skyglint.station.engine import Engine
from skyglint.store.store import Store
from skyglint.store.writer import RecordingWriter

RATE, CENTER, START = 240_000.0, 98e6, 1_786_586_400.0
CU8 = Encoding("cu8", np.dtype(np.uint8), 127.5, 127.5)
SITE_TEXT = """
[site]
name = "Fell"
latitude_deg = 54.6
longitude_deg = -2.9
height_m = 200
timezone = "UTC"
[antenna]
azimuth_deg = 0
elevation_deg = 0
gain_dbi = 0
beamwidth_deg = 90
height_above_ground_m = 2
polarization = "horizontal"
[receiver]
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 98_000_000
sample_rate_hz = 240_000
gain_db = 20.0
correction_ppm = 0.0
[station]
snippet_snr_db = 5
disk_budget_gb = 0.01
[notices]
webhook = "http://127.0.0.1:1/"
strong_snr_db = 10
[[channel]]
name = "far"
role = "target"
kind = "fm"
frequency_hz = 98_050_000
bandwidth_hz = 100_000
[[channel]]
name = "quiet"
role = "guard"
kind = "fm"
frequency_hz = 97_950_000
bandwidth_hz = 100_000
"""


def samples(start_s, seconds, bursts, amplitude=15.0):
    """Return raw noise with bursts of noise in the target's upper half of the band at the given seconds."""
    count, random = int(RATE * seconds), np.random.default_rng(round(10 * start_s))
    noise = amplitude * (random.standard_normal(count) + 1j * random.standard_normal(count))
    time = start_s + np.arange(count) / RATE
    for burst in bursts:
        inside = (time >= burst) & (time < burst + 0.4)
        phase = 2 * np.pi * 50e3 * time[inside] + np.cumsum(random.normal(0, 0.3, inside.sum()))
        noise[inside] += 60 * np.exp(1j * phase) * np.exp(-(time[inside] - burst) / 0.2)
    raw = np.stack([noise.real, noise.imag], axis=1).ravel() + 127.5
    return np.clip(np.rint(raw), 0, 255).astype(np.uint8)


class Receiver:
    """Delivers pieces: (start, seconds) of samples and their noise's amplitude, or a Gap, or an error."""

    def __init__(self, pieces, bursts, begin=START):
        self.pieces, self.bursts, self.begin = pieces, bursts, begin
        self.info = SourceInfo("fake", "", "cu8", RATE, CENTER, begin, math.nan, CENTER - RATE / 2, CENTER + RATE / 2)

    def blocks(self, block_s=0.1):
        stretch = offset = 0
        for piece in self.pieces:
            if isinstance(piece, Exception):
                raise piece
            if isinstance(piece, Gap):
                yield piece
                stretch += 1
                offset = 0
                continue
            start_s, seconds, *amplitude = piece
            values = samples(start_s, seconds, self.bursts, *amplitude)
            size = int(RATE * block_s)
            for first in range(0, len(values) // 2, size):
                part = values[2 * first : 2 * (first + size)]
                yield Block(part, CU8, stretch, self.begin + start_s - offset / RATE, offset + first, RATE, CENTER)
            offset += int(RATE * seconds)


def watch(tmp_path, receivers, monkeypatch, clock=None, site_text=SITE_TEXT):
    monkeypatch.setattr(module, "RETRY_S", 0.01)
    sent, told = [], []
    supply = iter(receivers)
    stop = threading.Event()

    def open_next():
        item = next(supply)
        if isinstance(item, Exception):
            raise item
        return item

    # A queue that never overflows: the fake receiver delivers faster than time.
    monkeypatch.setattr(module, "Capture", lambda source, _: module_capture(source, capacity_s=1e6))
    engine = Engine(
        parse_site(site_text), site_text, tmp_path, open_next, sent.append, told.append, clock or (lambda: START)
    )
    engine.run(stop)
    return sent, told


module_capture = module.Capture


def stored(tmp_path):
    with Store.open(tmp_path / "station.db") as store:
        return store.echoes(channels=["far"]), store.coverage(channels=["far"])


def starts(echoes):
    return [round(echo.echo.start_unix - START, 1) for echo in echoes]


def test_a_quiet_run_finds_the_bursts_and_keeps_them(tmp_path, monkeypatch):
    bursts = [12.0, 15.0, 18.0]
    sent, told = watch(tmp_path, [Receiver([(0.0, 24.0)], bursts)], monkeypatch)
    echoes, coverage = stored(tmp_path)
    assert starts(echoes) == pytest.approx(bursts, abs=0.11)
    assert [span.state for span in coverage] == ["watched"]
    assert coverage[0].end_unix - coverage[0].start_unix == pytest.approx(24.0, abs=0.03)
    announced = [echo for message in sent for echo in message.echoes if echo.channel == "far"]
    assert len(announced) == len(bursts)
    assert {notice.occasion for notice in told} == {"strong-echo"}
    snippets = list((tmp_path / "snippets").glob("*.sigmf-meta"))
    assert len([path for path in snippets if "_far" in path.name]) == len(bursts)
    assert json.loads(snippets[0].read_text())["captures"][0]["core:frequency"] == CENTER


def test_a_receiver_that_dies_and_comes_back(tmp_path, monkeypatch):
    first = Receiver([(0.0, 14.0), SourceError("receiver lost")], [12.0])
    second = Receiver([(20.0, 14.0)], [32.0])
    watch(tmp_path, [first, SourceError("no receiver answers"), second], monkeypatch, clock=lambda: START + 14.0)
    echoes, coverage = stored(tmp_path)
    assert starts(echoes) == pytest.approx([12.0, 32.0], abs=0.11)
    assert [span.state for span in coverage] == ["watched", "lost", "watched"]
    assert "receiver" in coverage[1].reason
    assert coverage[1].end_unix == pytest.approx(START + 20.0)


def test_where_the_receiver_is_to_be_found_is_not_published(tmp_path, monkeypatch):
    absent = SourceError("rtltcp://127.0.0.1:1234: no receiver answers: Connection refused")
    receivers = [Receiver([(0.0, 4.0), absent], []), absent, Receiver([(20.0, 4.0)], [])]
    sent, _ = watch(tmp_path, receivers, monkeypatch, clock=lambda: START + 4.0)
    told = {span.reason for span in stored(tmp_path)[1]} | {message.sentence for message in sent}
    assert any("no receiver answers: Connection refused" in text for text in told)
    assert not any("127.0.0.1" in text for text in told)


def test_gaps_of_the_receiver_are_lost(tmp_path, monkeypatch):
    gap = Gap(START + 14.0, START + 16.0, "receiver stalled")
    watch(tmp_path, [Receiver([(0.0, 14.0), gap, (16.0, 14.0)], [12.0, 28.0])], monkeypatch)
    echoes, coverage = stored(tmp_path)
    assert starts(echoes) == pytest.approx([12.0, 28.0], abs=0.11)
    assert [(span.state, span.reason) for span in coverage] == [
        ("watched", ""),
        ("lost", "receiver stalled"),
        ("watched", ""),
    ]


def test_the_time_since_an_earlier_run_is_marked_as_lost(tmp_path, monkeypatch):
    watch(tmp_path, [Receiver([(0.0, 3.0)], [])], monkeypatch)
    later = START + 60.0
    watch(tmp_path, [Receiver([(60.0, 3.0)], [])], monkeypatch, clock=lambda: later)
    _, coverage = stored(tmp_path)
    lost = [span for span in coverage if span.state == "lost"]
    assert [span.reason for span in lost] == ["the engine was not running"]
    assert lost[0].end_unix - lost[0].start_unix == pytest.approx(57.0, abs=0.05)


def test_a_start_before_what_is_stored_is_told(tmp_path, monkeypatch, caplog):
    watch(tmp_path, [Receiver([(0.0, 3.0)], [])], monkeypatch)
    earlier = START - 3600.0
    watch(tmp_path, [Receiver([(0.0, 3.0)], [], earlier)], monkeypatch, clock=lambda: earlier)
    assert "the database knows times until 2026-08-13T02:00:03Z" in caplog.text
    assert sorted(span.state for span in stored(tmp_path)[1]) == ["watched", "watched"]


def test_a_clock_set_back_by_an_hour_changes_nothing_within_the_run(tmp_path, monkeypatch):
    readings = itertools.chain(itertools.repeat(START, 40), itertools.repeat(START - 3600.0))
    watch(tmp_path, [Receiver([(0.0, 16.0)], [12.0])], monkeypatch, clock=lambda: next(readings))
    echoes, coverage = stored(tmp_path)
    assert starts(echoes) == pytest.approx([12.0], abs=0.11)
    assert [span.state for span in coverage] == ["watched"]


def test_a_full_disk_loses_nothing_that_was_found(tmp_path, monkeypatch):
    real, failures = RecordingWriter.commit, [0]

    def commit(self):
        failures[0] += 1
        if 3 < failures[0] < 8:
            raise StoreError("station.db: the disk is full")
        real(self)

    monkeypatch.setattr(RecordingWriter, "commit", commit)
    # A commit is tried at every step, however fast this computer gets through the night.
    monkeypatch.setattr("skyglint.station.live_store.RETRY_S", 0.0)
    monkeypatch.setattr("skyglint.station.live_store.COMMIT_S", 0.0)
    bursts = [12.0, 14.0, 16.0, 18.0]
    _, told = watch(tmp_path, [Receiver([(0.0, 24.0)], bursts)], monkeypatch)
    echoes, coverage = stored(tmp_path)
    assert starts(echoes) == pytest.approx(bursts, abs=0.11)
    assert sum(span.end_unix - span.start_unix for span in coverage) == pytest.approx(24.0, abs=0.03)
    assert "disk-full" in {notice.occasion for notice in told}
    assert not (tmp_path / "station.reserve").exists()  # given up to make room


def test_a_strong_echo_is_told_even_when_its_samples_cannot_be_kept(tmp_path, monkeypatch):
    monkeypatch.setattr(Disk, "is_full", True)
    _, told = watch(tmp_path, [Receiver([(0.0, 24.0)], [12.0, 15.0])], monkeypatch)
    assert [notice.occasion for notice in told].count("strong-echo") == 2
    assert re.match(r"underdense echo on far: 1\d dB, 0\.\d s", told[0].text)
    assert not list((tmp_path / "snippets").glob("*.sigmf-meta"))


def test_a_level_that_changed_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(levels, "STEP_S", 0.5)
    monkeypatch.setattr(levels, "STAYS_S", 5.0)
    monkeypatch.setattr(levels, "LEAST_KNOWN_S", 8.0)
    # The antenna's plug comes loose: two thirds of the amplitude are gone.
    _, told = watch(tmp_path, [Receiver([(0.0, 24.0), (24.0, 24.0, 5.0)], [])], monkeypatch)
    (notice,) = told
    assert notice.occasion == "level-changed"
    assert notice.text.startswith("The floor of all channels has fallen by 9.")


def test_a_site_that_the_database_does_not_know_yet_begins_in_it(tmp_path, monkeypatch):
    with Store.open(tmp_path / "station.db", mode="create") as store:
        store.begin_run("Elsewhere", "", "watch", {}, START)
    watch(tmp_path, [Receiver([(0.0, 3.0)], [])], monkeypatch)
    assert [span.state for span in stored(tmp_path)[1]] == ["watched"]


def test_pictures_and_samples_keep_within_the_disk_budget_and_the_tables_stay(tmp_path, monkeypatch):
    watch(tmp_path, [Receiver([(0.0, 24.0)], [12.0, 15.0])], monkeypatch)
    with Store.open(tmp_path / "station.db") as store:
        assert all(store.snippet(entry.id) is not None for entry in store.echoes())
    nothing = SITE_TEXT.replace("disk_budget_gb = 0.01", "disk_budget_gb = 0")
    watch(tmp_path, [Receiver([(60.0, 3.0)], [])], monkeypatch, lambda: START + 60.0, nothing)
    with Store.open(tmp_path / "station.db") as store:
        assert len(store.echoes(channels=["far"])) == 2
        assert not any(store.snippet(entry.id) for entry in store.echoes())
    assert not list((tmp_path / "snippets").glob("*.sigmf-*"))
