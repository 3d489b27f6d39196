"""Logs: a line that a person reads, or one JSON object a line; never a word of what only chatters."""

import json
import logging

import pytest

from skyglint.station.logs import set_up_logs


@pytest.fixture(autouse=True)
def undisturbed():
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    yield
    root.handlers[:] = handlers
    root.setLevel(level)


def say():
    log = logging.getLogger("skyglint.test")
    log.info("the first\nof two lines")
    try:
        raise ValueError("é")
    except ValueError:
        log.exception("it failed")
    logging.getLogger("uvicorn.error").info("Started server process")


def test_each_line_is_a_json_object(capsys):
    set_up_logs(True, "engine")
    say()
    records = [json.loads(line) for line in capsys.readouterr().err.splitlines()]
    assert [(record["level"], record["process"], record["message"]) for record in records] == [
        ("info", "engine", "the first\nof two lines"),
        ("error", "engine", "it failed"),
    ]
    assert records[0]["time"].endswith("Z")
    assert "ValueError: é" in records[1]["traceback"]


def test_a_person_reads_time_process_level_and_message(capsys):
    set_up_logs(False, "pages")
    say()
    lines = capsys.readouterr().err.splitlines()
    assert lines[0].endswith(" pages: the first")
    assert any(line.endswith("pages: error: it failed") for line in lines)
    assert not any("Started server" in line for line in lines)
