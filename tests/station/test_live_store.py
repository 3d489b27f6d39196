"""Writing while watching: what was found reaches the disk through locks, full disks and sudden ends."""

import sqlite3

import numpy as np
import pytest

from skyglint.echoes.echo import Echo, Findings
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.station.chain import Heard
from skyglint.station.live_store import LiveStore
from skyglint.store.records import CoverageSpan
from skyglint.store.store import Store

START = 1_786_586_400.0
CHANNELS = [Channel(name="a", role="target", kind="fm", frequency_hz=98e6)]
INFO = SourceInfo("rtltcp://x", "", "cu8", 2.4e6, 98e6, START, float("nan"), 97e6, 99e6)


class Clock:
    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


def heard(second, echo=True):
    start = START + second
    echoes = (Echo("a", start + 0.2, 0.3, start + 0.25, 12.0, 1.0),) if echo else ()
    series = np.zeros((1, 100), dtype=np.float32)
    findings = Findings(start, 0.01, series + 1e-3, series, echoes)
    return Heard(("a",), (findings,), (CoverageSpan("a", start, start + 1.0, "watched"),))


def live(tmp_path, clock, trouble):
    def begin(store):
        return store.begin_run("Fell", "", "watch", {}, START)

    return LiveStore(tmp_path / "station.db", begin, INFO, CHANNELS, clock, trouble.append, patience_s=0.1)


def stored(tmp_path):
    with Store.open(tmp_path / "station.db") as store:
        return len(store.echoes()), store.coverage()


def test_an_echo_is_on_disk_as_soon_as_it_has_closed(tmp_path):
    clock = Clock()
    store = live(tmp_path, clock, [])
    store.keep(heard(0))
    assert stored(tmp_path)[0] == 1
    store.keep(heard(1, echo=False))
    clock.now += 1.5
    store.flush()
    assert stored(tmp_path)[1][0].end_unix == START + 2.0
    store.close()


def test_a_locked_database_loses_nothing(tmp_path):
    clock, trouble = Clock(), []
    store = live(tmp_path, clock, trouble)
    store.keep(heard(0))
    lock = sqlite3.connect(tmp_path / "station.db", isolation_level=None)
    lock.execute("BEGIN IMMEDIATE")
    for second in range(1, 4):
        clock.now += 3.0
        store.keep(heard(second))
    lock.execute("ROLLBACK")
    assert trouble
    clock.now += 3.0
    store.keep(heard(4))
    store.close()
    count, coverage = stored(tmp_path)
    assert count == 5
    assert sum(span.end_unix - span.start_unix for span in coverage) == pytest.approx(5.0)


@pytest.mark.parametrize("troubled_after", [0, 3])
def test_a_disk_that_stays_full_does_not_fill_the_memory(tmp_path, monkeypatch, troubled_after):
    monkeypatch.setattr("skyglint.station.live_store.MOST_HELD", 20)
    clock, trouble = Clock(), []
    store = live(tmp_path, clock, trouble)
    for second in range(troubled_after):
        store.keep(heard(second))
    lock = sqlite3.connect(tmp_path / "station.db", isolation_level=None)
    if troubled_after == 0:
        with Store.open(tmp_path / "station.db", "create"):
            pass
    lock.execute("BEGIN IMMEDIATE")
    for second in range(troubled_after, 200):
        # An attempt to write now and then, some of which hand over what is held and fail at the commit.
        clock.now += 3.0 if second % 37 == 5 else 0.001
        store.keep(heard(second, echo=second % 3 == 0))
        assert len(store._held) <= 21
    assert trouble
    assert not store.writable
    lock.execute("ROLLBACK")
    clock.now += 3.0
    store.keep(heard(200))
    assert store.writable
    store.close()
    count, coverage = stored(tmp_path)
    assert count == troubled_after + len([second for second in range(troubled_after, 200) if second % 3 == 0]) + 1
    assert sum(span.end_unix - span.start_unix for span in coverage) == pytest.approx(201.0)
    connection = sqlite3.connect(tmp_path / "station.db")
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()


def test_a_database_that_cannot_be_made_yet_is_made_later(tmp_path):
    clock, trouble = Clock(), []
    (tmp_path / "station.db").mkdir()
    store = live(tmp_path, clock, trouble)
    store.keep(heard(0))
    assert trouble
    assert not store.writable
    (tmp_path / "station.db").rmdir()
    clock.now += 5.0
    store.keep(heard(1))
    store.close()
    assert stored(tmp_path)[0] == 2
