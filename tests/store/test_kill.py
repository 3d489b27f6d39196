"""A process killed in the middle of a recording leaves the database as it was, or with whole recordings only."""

import signal
import sqlite3
import subprocess
import sys

import pytest
from tests.store.conftest import START_UNIX, begin, echo, source_info, write

from skyglint.store import Store

CHILD = """
import sys
import numpy as np
import sqlalchemy as sa
from skyglint.echoes.echo import Echo, Snippet
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.store import CoverageSpan, Store

path, stage = sys.argv[1], sys.argv[2]
start = 1_786_586_400.0
channels = [Channel(name="north-sea", role="target", kind="fm", frequency_hz=98.3e6)]


def info(fingerprint, begin):
    return SourceInfo("night", fingerprint, "cu8", 2.4e6, 98e6, begin, begin + 3600, 97e6, 99e6)


def fill(writer, begin, seconds):
    noise = np.random.default_rng(1)
    for k in range(seconds):
        at = begin + k
        writer.add_strip("north-sea", at, 0.1, noise.normal(size=10))
        writer.add_coverage([CoverageSpan("north-sea", at, at + 1, "watched")])
        picture = Snippet(at, 0.01, noise.normal(size=80), np.arange(60.0), noise.normal(size=(80, 60)))
        writer.add_echoes([Echo("north-sea", at, 0.2, at + 0.1, 12.0, 1.0, snippet=picture)])


def wait():
    print("ready", flush=True)
    sys.stdin.read()


with Store.open(path, "write") as store:
    run = store.begin_run("Harrow Fell", "", "scan", {}, start)
    if stage != "replacing":
        with store.recording(run, info("whole", start + 7200), channels) as writer:
            fill(writer, start + 7200, 20)
    with store.recording(run, info("a1b2" if stage == "replacing" else "broken", start), channels) as writer:
        # Enough to spill from the cache into the file's log.
        fill(writer, start, 1000)
        if stage == "gathered":
            wait()
        statements = []

        def stop_half_way(connection, cursor, statement, *more):
            statements.append(statement)
            if len(statements) == 1500:
                wait()

        sa.event.listen(store._engine, "after_cursor_execute", stop_half_way)
"""


@pytest.mark.parametrize(("stage", "echoes_after"), [("gathered", 22), ("writing", 22), ("replacing", 2)])
def test_killed_in_the_middle_of_a_recording(path, stage, echoes_after):
    with Store.open(path, "create") as store:
        write(store, begin(store), source_info(), [echo(1.0), echo(2.0)])
        before = store.echoes(end_unix=START_UNIX + 7200), store.coverage(end_unix=START_UNIX + 7200)
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(path), stage], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    with child:
        assert child.stdout.readline() == "ready\n"
        child.send_signal(signal.SIGKILL)
    assert child.returncode == -signal.SIGKILL
    assert {item.name for item in path.parent.iterdir()} <= {"night.db", "night.db-wal", "night.db-shm"}
    if stage != "gathered":
        assert path.with_name("night.db-wal").stat().st_size > 1_000_000
    with sqlite3.connect(path) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    connection.close()
    with Store.open(path, "write") as store:
        assert (store.echoes(end_unix=START_UNIX + 7200), store.coverage(end_unix=START_UNIX + 7200)) == before
        assert len(store.echoes()) == echoes_after
        assert sorted(recording.fingerprint for recording in store.recordings()) == (
            ["a1b2"] if stage == "replacing" else ["a1b2", "whole"]
        )
        # And it goes on: the same recording, scanned again to its end.
        write(store, begin(store), source_info(fingerprint="broken", start_unix=START_UNIX + 3600), [echo(3601.0)])
        assert len(store.echoes()) == echoes_after + 1
