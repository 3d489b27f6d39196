"""The pages as a process: start, first token, hearing the engine, end."""

import logging
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from skyglint.station.live import Publisher
from skyglint.web.process import main


def free_port(kind: int = socket.SOCK_STREAM) -> int:
    with socket.socket(socket.AF_INET, kind) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def site(station, tmp_path) -> tuple[Path, int]:
    port = free_port()
    text = station.read_text().replace("[[channel]]", f"[pages]\nport = {port}\n\n[[channel]]", 1)
    (tmp_path / "site.toml").write_text(text)
    shutil.copy(station.parent / "station.db", tmp_path / "station.db")
    return tmp_path / "site.toml", port


def start(site_file: Path, feed: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "skyglint.web.process", str(site_file), "--feed-port", str(feed)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def wait_for(url: str, seconds: float = 40.0) -> httpx.Response:
    deadline = time.monotonic() + seconds
    while True:
        try:
            return httpx.get(url, timeout=10)
        except httpx.TransportError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.1)


def test_it_serves_hears_and_ends_cleanly(site, message):
    site_file, port = site
    feed = free_port(socket.SOCK_DGRAM)
    process = start(site_file, feed)
    try:
        url = f"http://127.0.0.1:{port}"
        assert wait_for(f"{url}/").status_code == 200
        publisher = Publisher(feed)
        state, deadline = "silent", time.monotonic() + 10
        while state != "watching" and time.monotonic() < deadline:
            publisher.send(message(time.time(), ["north-sea"]))
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
                other.sendto(b"rubbish \xff", ("127.0.0.1", feed))
            state = httpx.get(f"{url}/api/v1/station").json()["state"]
        publisher.close()
        assert state == "watching"
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=20)
    finally:
        process.kill()
    assert process.returncode == 0
    assert out.count("shown this once") == 1
    token = out.split("shown this once: ")[1].split()[0]
    assert token not in err
    assert err.count("is not a message") == 1
    assert oct((site_file.parent / "station.operator.json").stat().st_mode)[-3:] == "600"


def test_it_ends_when_its_parent_is_gone(site):
    site_file, port = site
    code = (
        "import subprocess, sys, time; subprocess.Popen([sys.executable, '-m', 'skyglint.web.process', "
        f"{str(site_file)!r}, '--feed-port', '{free_port(socket.SOCK_DGRAM)}']); time.sleep(60)"
    )
    parent = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        wait_for(f"http://127.0.0.1:{port}/healthz")
    finally:
        parent.kill()
        parent.wait()
    deadline = time.monotonic() + 15
    while time.monotonic() < deadline:
        try:
            httpx.get(f"http://127.0.0.1:{port}/healthz", timeout=5)
        except httpx.TransportError:
            return
        time.sleep(0.2)
    pytest.fail("the pages outlived their parent")


@pytest.fixture
def undisturbed(monkeypatch) -> Iterator[None]:
    """Let the process's main function run in this one, and put back what it sets."""
    monkeypatch.setattr(os, "nice", lambda _: 0)
    root = logging.getLogger()
    handlers, level = list(root.handlers), root.level
    kept = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}
    yield
    root.handlers[:] = handlers
    root.setLevel(level)
    for number, handler in kept.items():
        signal.signal(number, handler)


def test_a_port_that_is_taken_is_one_clear_line(site, capfd, undisturbed):
    site_file, port = site
    with socket.create_server(("127.0.0.1", port)):
        assert main([str(site_file), "--feed-port", "1"]) == 1
    told = capfd.readouterr()
    assert f"cannot listen at 127.0.0.1 port {port}: Address already in use" in told.err
    assert "Traceback" not in told.err
    assert told.out == ""  # no token was made


def test_a_missing_site_file_ends_with_status_2(tmp_path, capfd, undisturbed):
    assert main([str(tmp_path / "none.toml"), "--feed-port", "1"]) == 2
    assert "no such site file" in capfd.readouterr().err
