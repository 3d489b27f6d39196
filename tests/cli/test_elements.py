"""``skyglint elements`` from the outside."""

import functools
import http.server
import threading

import pytest

from skyglint.cli import app

LINES = """\
GLINT ONE
1 00005U 58002B   00179.78495062  .00000023  00000-0  28098-4 0  4753
2 00005  34.2682 348.7242 1859667 331.7664  19.3264 10.82419157413667
"""  # the first of the verification set of Vallado et al., AIAA 2006-6753


class Quiet(http.server.SimpleHTTPRequestHandler):
    def log_message(self, *_):
        pass


@pytest.fixture
def url(tmp_path):
    (tmp_path / "served").mkdir()
    (tmp_path / "served" / "orbits.txt").write_text(LINES, encoding="utf-8")
    handler = functools.partial(Quiet, directory=tmp_path / "served")
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}/orbits.txt"
        server.shutdown()
        thread.join()


def test_fetches_and_then_holds_back(url, tmp_path, capsys):
    path = tmp_path / "orbits.txt"
    assert app.main(["elements", url, "--to", str(path)]) == 0
    assert "1 object fetched" in capsys.readouterr().out
    assert path.read_text(encoding="utf-8") == LINES
    assert app.main(["elements", url, "--to", str(path)]) == 0
    assert "not asked again within 6 h" in capsys.readouterr().out


def test_a_file_of_another_origin_is_not_overwritten(url, tmp_path, capsys):
    path = tmp_path / "orbits.txt"
    path.write_text("mine", encoding="utf-8")
    assert app.main(["elements", url, "--to", str(path)]) == 2
    assert "--force" in capsys.readouterr().err
    assert path.read_text(encoding="utf-8") == "mine"
    assert app.main(["elements", url, "--to", str(path), "--force"]) == 0


def test_failures_have_their_status(url, tmp_path, capsys):
    assert app.main(["elements", f"{url}.gone", "--to", str(tmp_path / "a")]) == 1
    assert "404" in capsys.readouterr().err
    assert app.main(["elements", "elements.json", "--to", str(tmp_path / "a")]) == 2
    assert "http://" in capsys.readouterr().err
