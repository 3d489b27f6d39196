"""Notices: valid JSON whatever the text, never too many, and a dead webhook harms nothing."""

import json
import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.station.notices import Notice, Notifier, body_of


@given(st.text(max_size=60), st.text(max_size=20))
def test_the_body_is_json_with_the_very_text(text, site):
    data = json.loads(body_of(Notice(1_786_586_400.0, "strong-echo", text), site.replace("{", "(")))
    assert data["time"] == "2026-08-13T02:00:00.000Z"
    assert data["occasion"] == "strong-echo"
    assert data["text"] == text


def test_an_own_template():
    body = body_of(Notice(0.0, "disk-full", 'a "quoted" word'), "Fell", '{"content": "{site}: {text}"}')
    assert json.loads(body) == {"content": 'Fell: a "quoted" word'}


def test_no_more_than_so_many_an_hour():
    sent = []
    notifier = Notifier(sent.append, "Fell", most_per_hour=3)
    said = [notifier.tell(Notice(float(second), "strong-echo", "x")) for second in range(10)]
    later = notifier.tell(Notice(3700.0, "strong-echo", "x"))
    notifier.close()
    assert said.count(True) == 3
    assert later
    assert len(sent) == 4


def test_the_same_trouble_is_told_once_in_ten_minutes():
    sent = []
    notifier = Notifier(sent.append, "Fell")
    assert notifier.tell(Notice(0.0, "disk-full", "x"))
    assert not notifier.tell(Notice(599.0, "disk-full", "x"))
    assert notifier.tell(Notice(601.0, "disk-full", "x"))
    notifier.close()


def test_a_dead_webhook_holds_nobody_up():
    gate = threading.Event()

    def fail(body):
        gate.wait(5)
        raise OSError("no route")

    notifier = Notifier(fail, "Fell", most_per_hour=1000)
    for second in range(200):
        notifier.tell(Notice(second * 700.0, "disk-full", "x"))
    gate.set()
    notifier.close(0.1)


@pytest.mark.parametrize("error", [OSError("x"), ValueError("bad url")])
def test_a_failure_to_send_is_survived(error):
    seen = []

    def send(body):
        seen.append(body)
        if len(seen) == 1:
            raise error

    notifier = Notifier(send, "Fell")
    notifier.tell(Notice(0.0, "strong-echo", "one"))
    notifier.tell(Notice(1.0, "strong-echo", "two"))
    notifier.close()
    assert len(seen) == 2
