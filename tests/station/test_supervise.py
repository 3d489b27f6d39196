"""Processes are kept alive: started again after any end, with rising pauses, and ended with the supervisor."""

import sys
import threading
import time

from skyglint.station import supervise as module
from skyglint.station.supervise import Child, supervise


def script(code):
    return [sys.executable, "-c", code]


def running(children, stop):
    thread = threading.Thread(target=supervise, args=(children, stop, 0.02))
    thread.start()
    return thread


def wait_for(condition, seconds=10.0):
    until = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < until, "waited in vain"
        time.sleep(0.02)


def test_a_killed_child_is_started_again():
    child, stop = Child("sleeper", script("import time; time.sleep(60)")), threading.Event()
    thread = running([child], stop)
    wait_for(lambda: child.process is not None)
    first = child.process.pid
    child.process.kill()
    wait_for(lambda: child.process is not None and child.process.pid != first)
    last = child.process
    stop.set()
    thread.join(10)
    assert not thread.is_alive()
    assert last.poll() is not None


def test_pauses_rise_while_it_keeps_failing(monkeypatch):
    monkeypatch.setattr(module, "FIRST_PAUSE_S", 0.01)
    child, stop = Child("failing", script("raise SystemExit(3)"), pause_s=0.01), threading.Event()
    thread = running([child], stop)
    wait_for(lambda: child.starts >= 4)
    stop.set()
    thread.join(10)
    assert child.pause_s >= 0.08


def test_a_clean_end_of_what_runs_once_ends_all():
    once, other = Child("once", script("pass"), once=True), Child("other", script("import time; time.sleep(60)"))
    thread = running([once, other], threading.Event())
    thread.join(20)
    assert not thread.is_alive()
    assert other.process.poll() is not None


def test_a_wrong_request_is_not_tried_again():
    once = Child("once", script("raise SystemExit(2)"), once=True)
    thread = running([once], threading.Event())
    thread.join(20)
    assert not thread.is_alive()
    assert (once.starts, once.status) == (1, 2)


def test_a_child_that_ignores_the_request_to_end_is_killed(monkeypatch):
    monkeypatch.setattr(module, "GRACE_S", 0.5)
    stubborn = (
        "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print(1, flush=True); time.sleep(60)"
    )
    child, stop = Child("stubborn", script(stubborn)), threading.Event()
    thread = running([child], stop)
    wait_for(lambda: child.process is not None)
    time.sleep(0.5)
    process = child.process
    stop.set()
    thread.join(10)
    assert process.poll() is not None
