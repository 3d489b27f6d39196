"""The engine fed by another program through a pipe, and the check of such a station."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from skyglint.station.supervise import python
from skyglint.station.watch import free_port
from skyglint.store.store import Store

SECONDS = 6
SKYGLINT = str(Path(sys.executable).with_name("skyglint"))


@pytest.fixture
def site(tmp_path, site_text):
    path = tmp_path / "site.toml"
    path.write_text(site_text.replace("rtltcp://127.0.0.1:{receiver_port}", "-").replace("{pages_port}", "8080"))
    return path


def test_samples_from_standard_input_are_watched_to_their_end(site, samples):
    command = python("skyglint.station.engine_process", str(site), "--feed-port", str(free_port()))
    begin = time.time()
    subprocess.run(command, input=samples * (SECONDS // 2), timeout=60, check=True)
    with Store.open(site.parent / "station.db") as store:
        spans = store.coverage()
        assert len(store.echoes()) >= 2
    assert begin < spans[0].start_unix < time.time()
    watched_s = sum(span.end_unix - span.start_unix for span in spans if span.state == "watched")
    assert watched_s == pytest.approx(SECONDS, abs=0.05)


def test_the_check_listens_to_standard_input_too(site, samples):
    command = [SKYGLINT, "check", str(site), "--json"]
    done = subprocess.run(command, input=samples * (SECONDS // 2), timeout=60, check=False, capture_output=True)
    checks = {item["name"]: item for item in json.loads(done.stdout)["checks"]}
    assert checks["receiver"]["verdict"] == "good"
    assert checks["samples"]["verdict"] == "good"


def test_without_a_pipe_the_station_says_so_and_ends(site):
    command = [SKYGLINT, "watch", str(site), "--no-pages"]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, timeout=60, check=False, capture_output=True, text=True)
    assert done.returncode == 2
    assert "standard input: ended before any sample came" in done.stderr


def test_a_terminal_is_no_source_of_samples(site):
    terminal, end = os.openpty()
    command = [SKYGLINT, "check", str(site)]
    done = subprocess.run(command, stdin=end, timeout=60, check=False, capture_output=True, text=True)
    os.close(terminal)
    os.close(end)
    assert done.returncode == 2
    assert "standard input is a terminal" in done.stderr
