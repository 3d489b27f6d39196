"""Work beside the samples: nothing is lost, nobody waits, the strongest come first, faults come out."""

import threading
import time

from skyglint.echoes.echo import Echo
from skyglint.station.aside import Aside


def echo(second, snr_db=10.0):
    return Echo("far", float(second), 0.3, second + 0.1, snr_db, 1.0)


def gather(aside, count, seconds=5.0):
    found, until = [], time.monotonic() + seconds
    while len(found) < count and time.monotonic() < until:
        found += aside.take()
        time.sleep(0.005)
    return found


class Clock:
    now = 0.0

    def __call__(self):
        return self.now


def test_the_strongest_come_first_and_an_echo_that_waited_too_long_goes_on_undone():
    gate, clock, seen = threading.Semaphore(0), Clock(), []

    def work(item):
        gate.acquire()
        seen.append(item.peak_snr_db)
        return echo(item.start_unix, 99.0)

    aside = Aside(work, "test", clock, patience_s=1.0)
    aside.give(echo(0, 5.0))
    time.sleep(0.1)  # the thread has taken it
    for second, snr_db in enumerate([7.0, float("nan"), 20.0], start=1):
        aside.give(echo(second, snr_db))
    gate.release()
    gate.release()
    done = gather(aside, 2)
    assert seen == [5.0, 20.0]
    assert [item.start_unix for item in done] == [0.0, 3.0]
    assert all(item.peak_snr_db == 99.0 for item in done)
    # The next one, 7 dB, is being worked on; the last waits in vain.
    clock.now = 2.0
    (late,) = aside.take()
    assert late.start_unix == 2.0
    gate.release()
    assert [item.start_unix for item in aside.close(5.0)] == [1.0]


def test_a_close_waits_for_what_can_be_done_in_time_and_gives_back_the_rest():
    aside = Aside(lambda item: time.sleep(0.2) or echo(item.start_unix, 99.0), "test", time.monotonic, 100.0)
    for second in range(5):
        aside.give(echo(second))
    rest = aside.close(0.3)
    assert sorted(item.start_unix for item in rest) == [0.0, 1.0, 2.0, 3.0, 4.0]
    assert 1 <= sum(item.peak_snr_db == 99.0 for item in rest) < 5


def test_an_echo_for_which_the_work_fails_goes_on_and_the_log_says_why(caplog):
    def work(item):
        if item.start_unix == 0.0:
            raise ValueError("a fault")
        return echo(item.start_unix, 99.0)

    aside = Aside(work, "naming", time.monotonic, 10.0)
    aside.give(echo(0))
    aside.give(echo(1))
    done = gather(aside, 2)
    assert sorted((item.start_unix, item.peak_snr_db) for item in done) == [(0.0, 10.0), (1.0, 99.0)]
    assert "naming failed for the echo on far at 0.000" in caplog.text
    assert "ValueError: a fault" in caplog.text
