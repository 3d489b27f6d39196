import hashlib
import json
import stat

import pytest

from skyglint.errors import SkyglintError
from skyglint.web.operator import ATTEMPTS_S, MOST_ATTEMPTS, MOST_SESSIONS, SESSION_S, Attempts, Sessions, TokenFile


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def test_the_token_is_shown_once_and_kept_as_a_hash(tmp_path):
    path = tmp_path / "station.operator.json"
    token = TokenFile(path).make_if_missing()
    assert TokenFile(path).make_if_missing() is None
    assert token not in path.read_text()
    assert len(token) >= 32  # 24 random bytes
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    kept = json.loads(path.read_text())["scrypt"]
    again = hashlib.scrypt(
        token.encode(), salt=bytes.fromhex(kept["salt"]), n=kept["n"], r=kept["r"], p=kept["p"], maxmem=2**28, dklen=32
    )
    assert again.hex() == kept["hash"]


def test_only_the_token_is_accepted(tmp_path):
    file = TokenFile(tmp_path / "t.json")
    token = file.make_if_missing()
    assert file.accepts(token)
    assert not file.accepts(token + "x")
    assert not file.accepts("")


@pytest.mark.parametrize("text", ["", "{}", '{"scrypt": 3}', '{"scrypt": {"salt": "zz", "hash": ""}}'])
def test_a_spoilt_file_accepts_nothing_and_says_so(tmp_path, text):
    path = tmp_path / "t.json"
    path.write_text(text)
    with pytest.raises(SkyglintError, match=r"t\.json: holds no operator token"):
        TokenFile(path).accepts("anything")


def test_a_folder_that_cannot_be_written_is_named(tmp_path):
    with pytest.raises(SkyglintError, match="cannot be written"):
        TokenFile(tmp_path / "missing" / "t.json").make_if_missing()


def test_sessions_end_by_time_by_hand_and_by_number():
    clock = Clock()
    sessions = Sessions(clock)
    first, second = sessions.begin(), sessions.begin()
    assert sessions.find(first).csrf != sessions.find(second).csrf
    assert sessions.find(None) is None
    assert sessions.find("guess") is None
    sessions.end(first)
    assert sessions.find(first) is None
    clock.now = SESSION_S
    assert sessions.find(second) is None
    kept = sessions.begin()
    for _ in range(MOST_SESSIONS):
        sessions.begin()
    assert sessions.find(kept) is None


def test_attempts_are_limited_by_address():
    clock = Clock()
    attempts = Attempts(clock)
    assert [attempts.allow("a") for _ in range(MOST_ATTEMPTS + 2)] == [True] * MOST_ATTEMPTS + [False, False]
    assert attempts.allow("b")
    clock.now = ATTEMPTS_S + 1
    assert attempts.allow("a")
