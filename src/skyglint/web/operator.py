"""The operator: a token that is made once and kept only as its hash, and sessions that live as long as the process."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from skyglint.errors import SkyglintError

#: Cost of scrypt (RFC 7914): 16 MiB and well under a second on a single-board computer. The token is 192 random bits,
#: so that nothing is to be guessed; the hash is for whoever copies the file.
_N, _R, _P = 1 << 14, 8, 1
_MEMORY = 256 * _N * _R
TOKEN_BYTES = 24
SESSION_S = 12 * 3600.0
MOST_SESSIONS = 16
#: Attempts from one address within the time, and addresses that are remembered.
MOST_ATTEMPTS, ATTEMPTS_S, MOST_ADDRESSES = 5, 60.0, 1_000


@dataclass(frozen=True, slots=True)
class Session:
    """One browser of the operator's: the word that every changing request must repeat, and when it ends."""

    csrf: str
    ends: float


class TokenFile:
    """The operator's token, stored as salt and hash in a file that only its owner can read."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._checking = threading.Lock()

    def make_if_missing(self) -> str | None:
        """Make a token and return it, this once; None where there is one already.

        Raises
        ------
        SkyglintError
            If the file cannot be written.
        """
        if self._path.exists():
            return None
        token = secrets.token_urlsafe(TOKEN_BYTES)
        salt = secrets.token_bytes(16)
        kept = {"scrypt": {"n": _N, "r": _R, "p": _P, "salt": salt.hex(), "hash": _scrypt(token, salt).hex()}}
        try:
            descriptor = os.open(self._path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        except FileExistsError:
            return None
        except OSError as error:
            raise SkyglintError(f"{self._path}: cannot be written: {error.strerror}") from error
        with os.fdopen(descriptor, "w", encoding="utf-8") as file:
            json.dump(kept, file)
        return token

    def accepts(self, token: str) -> bool:
        """Tell whether a token is the operator's; one check at a time, because each is costly on purpose.

        Raises
        ------
        SkyglintError
            If the file cannot be read.
        """
        try:
            kept = json.loads(self._path.read_text(encoding="utf-8"))["scrypt"]
            salt, expected = bytes.fromhex(kept["salt"]), bytes.fromhex(kept["hash"])
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise SkyglintError(
                f"{self._path}: holds no operator token: remove it and start again to make a new one"
            ) from error
        with self._checking:
            return hmac.compare_digest(_scrypt(token, salt), expected)


def _scrypt(token: str, salt: bytes) -> bytes:
    return hashlib.scrypt(token.encode(), salt=salt, n=_N, r=_R, p=_P, maxmem=_MEMORY, dklen=32)


class Sessions:
    """Who is signed in; kept in memory as hashes, so that ending the process ends them all."""

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._open: OrderedDict[str, Session] = OrderedDict()

    def begin(self) -> str:
        """Begin a session and return the secret that the cookie carries."""
        secret = secrets.token_urlsafe(32)
        self._open[_fingerprint(secret)] = Session(secrets.token_urlsafe(24), self._monotonic() + SESSION_S)
        while len(self._open) > MOST_SESSIONS:
            self._open.popitem(last=False)
        return secret

    def find(self, secret: str | None) -> Session | None:
        """Return the session of a cookie, if it is open."""
        session = self._open.get(_fingerprint(secret)) if secret else None
        return session if session is not None and session.ends > self._monotonic() else None

    def end(self, secret: str | None) -> None:
        """End a session."""
        if secret:
            self._open.pop(_fingerprint(secret), None)


def _fingerprint(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


class Attempts:
    """Limits how often an address may try a token."""

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._times: OrderedDict[str, list[float]] = OrderedDict()

    def allow(self, address: str) -> bool:
        """Note an attempt; return whether it may be made."""
        now = self._monotonic()
        times = [moment for moment in self._times.pop(address, []) if now - moment < ATTEMPTS_S]
        allowed = len(times) < MOST_ATTEMPTS
        self._times[address] = [*times, now] if allowed else times
        while len(self._times) > MOST_ADDRESSES:
            self._times.popitem(last=False)
        return allowed
