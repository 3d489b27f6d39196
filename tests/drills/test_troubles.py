"""Troubles of a night, each happening to an engine of its own: receiver, disk, database, clock and computer.

After each: every echo that was announced is in the database, and every burst that was watched; the database passes its
integrity check; coverage adds up and says truly when nothing was heard; the engine is back at work by itself within
10 s.
"""

import itertools
import sqlite3
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parent / "engine_in_trouble.py"
#: A burst is found at its true time to this, seconds: a few frames, and what the network may hold back.
TIMING_S = 0.15
#: A fault begins and ends within a block of the engine, a step of the receiver and what a busy computer adds.
EDGE_S = 0.4
BACK_S = 10.0
#: So long after a stretch began the floor is known.
SETTLED_S = 3.0


@dataclass
class Told:
    """What a trouble left behind: when it began and ended, and when the engine was back at work."""

    station: object
    begin: float
    end: float
    back: float

    def lost(self):
        return [
            span
            for span in self.station.coverage()
            if span.state == "lost" and self.begin - EDGE_S < span.start_unix < self.back
        ]

    def said(self):
        return [message for came, message in self.station.said if self.begin < came < self.end + 1.0]

    def lost_s(self):
        return sum(span.end_unix - span.start_unix for span in self.lost())


def during(mode, seconds):
    def trouble(station):
        station.receiver.mode = mode
        time.sleep(seconds)
        station.receiver.mode = "send"

    return trouble


def jump(station):
    station.receiver.ahead_s = 3.0
    time.sleep(5.0)


def locked(station):
    """Another program holds the database for itself, and a third reads without end."""
    reader = sqlite3.connect(station.database, isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM echoes").fetchone()
    other = sqlite3.connect(station.database, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    time.sleep(5.0)
    other.execute("ROLLBACK")
    other.close()
    reader.close()


def full_disk(station):
    station.tell(full=True)
    time.sleep(5.0)
    station.tell(full=False)


def clock_set_back(station):
    station.tell(clock_s=-3600.0)
    time.sleep(2.0)


def slow_computer(station):
    station.tell(slow_s=2.0)
    time.sleep(11.0)
    station.tell(slow_s=0.0)


TROUBLES = {
    "stall": during("stall", 4.0),
    "gone": during("gone", 2.0),
    "strange": during("strange", 2.0),
    "short stall": during("stall", 1.5),
    "stuck": during("stuck", 2.0),
    "jump": jump,
    "garbage": during("garbage", 2.0),
    "locked": locked,
    "full disk": full_disk,
    "clock set back": clock_set_back,
    "slow computer": slow_computer,
}
#: Each night has its own station; all happen at the same time.
NIGHTS = (
    ("stall", "gone"),
    ("strange", "short stall"),
    ("stuck", "jump", "garbage"),
    ("locked", "full disk", "clock set back"),
    ("slow computer",),
)
#: Where the receiver is silent, absent or deaf, that time is lost, and nothing else; the reason says why.
DEAF = {
    "stall": "no samples for 3 s",
    "gone": "receiver lost",
    "strange": "answers, but not as a receiver",
    "short stall": "samples lost on the way",
    "stuck": "one and the same value",
}
#: These cost no sample at all.
HARMLESS = ("garbage", "locked", "full disk", "clock set back")


def announced(station):
    return [echo for _, message in list(station.said) for echo in message.echoes]


def night(station, troubles, wait_for):
    """Let the troubles happen one after another, and tell of each."""
    told = {}
    wait_for(lambda: announced(station), 60, "a first echo")
    for name in troubles:
        begin = time.time()
        TROUBLES[name](station)
        end = time.time()
        wait_for(lambda since=end: station.watched_until() > since, BACK_S, f"watching again after: {name}")
        told[name] = Told(station, begin, end, time.time())
    settled = time.time() + SETTLED_S
    wait_for(lambda: any(entry.echo.start_unix > settled for entry in station.echoes()), 20, "an echo afterwards")
    station.stop()
    return told


def test_troubles(make_station, patience, subtests):
    nights = [(make_station(pages=False, script=SCRIPT), names) for names in NIGHTS]
    with ThreadPoolExecutor(len(nights)) as pool:
        running = [pool.submit(night, station, names, patience) for station, names in nights]
        told = {name: happened for future in running for name, happened in future.result().items()}
    for station, names in nights:
        with subtests.test("nothing found is lost", troubles=names):
            check_nothing_found_is_lost(station)
        with subtests.test("coverage adds up", troubles=names):
            check_coverage_adds_up(station)
        with subtests.test("every burst that was watched is found at its time", troubles=names):
            check_bursts(station, told.get("garbage") if "garbage" in names else None)
    for name, reason in DEAF.items():
        with subtests.test("what was not heard is lost where it was lost", trouble=name):
            check_lost(told[name], reason)
    for name in HARMLESS:
        with subtests.test("what was heard all the time is watched", trouble=name):
            assert told[name].lost_s() < 0.05
    for name in ("locked", "full disk"):
        with subtests.test("a database that cannot be written is told", trouble=name):
            during_it = told[name].said()
            assert any("held in memory" in message.sentence for message in during_it)
            assert any(message.health.get("database_unwritable") for message in during_it)
    with subtests.test("samples before their time bend no clock"):
        assert told["jump"].lost_s() < 0.05
        assert any("ahead of the computer's clock" in span.reason for span in told["jump"].lost())
    with subtests.test("a computer that is too slow sheds spectra first and then time"):
        check_overload(told["slow computer"])


def check_nothing_found_is_lost(station):
    assert station.integrity() == "ok"
    kept = {(entry.echo.channel, round(entry.echo.start_unix, 3)) for entry in station.echoes()}
    assert {(echo.channel, round(echo.start_unix, 3)) for echo in announced(station)} <= kept


def check_coverage_adds_up(station):
    spans = sorted(station.coverage(), key=lambda span: span.start_unix)
    for before, after in itertools.pairwise(spans):
        assert after.start_unix == pytest.approx(before.end_unix, abs=1e-3)
    whole = spans[-1].end_unix - spans[0].start_unix
    assert sum(span.end_unix - span.start_unix for span in spans) == pytest.approx(whole, abs=0.01)


def check_bursts(station, garbage):
    starts = [entry.echo.start_unix for entry in station.echoes()]
    watched = [(span.start_unix, span.end_unix) for span in station.coverage() if span.state == "watched"]
    # Within the first seconds of a stretch the floor is not known; at its end a burst may be cut.
    whole = [burst for burst in station.receiver.bursts if any(a + SETTLED_S < burst < b - 1.0 for a, b in watched)]
    if garbage is not None:
        whole = [burst for burst in whole if not garbage.begin - 1.0 < burst < garbage.end + 1.0]
    assert whole
    for burst in whole:
        assert min(abs(start - burst) for start in starts) < TIMING_S


def check_lost(happened, reason):
    lost = happened.lost()
    assert any(reason in span.reason for span in lost)
    assert lost[0].start_unix == pytest.approx(happened.begin, abs=EDGE_S)
    assert happened.end - EDGE_S < max(span.end_unix for span in lost) < happened.end + BACK_S
    assert happened.lost_s() > happened.end - happened.begin - 2 * EDGE_S


def check_overload(happened):
    assert {span.reason for span in happened.lost()} == {"the computer could not keep up"}
    during_it = happened.said()
    shed = [message.end_unix for message in during_it if message.state == "watching" and not message.spectra_db]
    assert shed
    assert min(shed) < min(span.start_unix for span in happened.lost())
    assert any(message.health["spectra_shed"] for message in during_it)
    assert any("Live spectrograms are left out" in message.sentence for message in during_it)
    # Back to normal: the spectra are there again.
    afterwards = [message for came, message in happened.station.said if came > happened.back + 1.0]
    assert any(message.spectra_db for message in afterwards)
