"""``skyglint replay`` as a process: it serves, ends with its recording, and says what is wrong."""

import socket
import threading

import pytest
import typer
from typer.testing import CliRunner

from skyglint.cli import replay
from skyglint.errors import RequestError, SkyglintError

RAW = ["--sample-rate-hz", "100000", "--center-frequency-hz", "98e6", "--start", "2026-08-13T02:00:00Z"]


def invoke(*arguments):
    app = typer.Typer()
    app.command()(replay.run)
    return CliRunner().invoke(app, list(arguments))


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as listener:
        return listener.getsockname()[1]


def test_a_recording_is_served_to_its_end(tmp_path):
    path = tmp_path / "night.cu8"
    path.write_bytes(bytes(range(256)) * 100)
    port, received = free_port(), []

    def listen():
        for _ in range(100):
            try:
                client = socket.create_connection(("127.0.0.1", port), timeout=5)
                break
            except ConnectionRefusedError:
                threading.Event().wait(0.05)
        with client:
            while piece := client.recv(1 << 16):
                received.append(piece)

    client = threading.Thread(target=listen)
    client.start()
    result = invoke(str(path), "--listen", f"127.0.0.1:{port}", "--speed", "inf", *RAW)
    client.join()
    assert result.exit_code == 0, result.output
    assert f"rtltcp://127.0.0.1:{port} serves night.cu8: centre 98000000 Hz, 100000 samples a second" in result.output
    assert "recording sent to its end" in result.output
    assert b"".join(received)[12:] == path.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["nowhere.cu8", *RAW], "no such recording"),
        (["night.cu8", *RAW, "--listen", "here"], "expected host and port"),
        (["night.cu8", *RAW, "--speed", "-1"], "--speed = -1: expected a number above 0"),
        (["night.cu8"], "does not state its sample rate, its centre frequency and when it starts"),
    ],
)
def test_what_is_wrong_is_said(tmp_path, monkeypatch, arguments, message):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "night.cu8").write_bytes(bytes(100))
    result = invoke(*arguments)
    assert isinstance(result.exception, SkyglintError)
    assert result.exception.exit_status == RequestError.exit_status
    assert message in str(result.exception)
