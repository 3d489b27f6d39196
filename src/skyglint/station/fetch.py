"""Orbital elements from an address that the operator gives: asked for seldom, checked, and put in place whole.

A note beside the file (``elements.json.fetched``) remembers the address, when it was asked and what the server called
that state (ETag and Last-Modified, RFC 9110 sec. 8.8), so that unchanged elements are not sent again.
"""

from __future__ import annotations

import http.client
import json
import os
import time
import urllib.error
import urllib.request
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

import skyglint
from skyglint.errors import RequestError, SkyglintError
from skyglint.sky.orbits.reading import parse_elements

#: All tracked objects as XML, the wordiest form, need some 50 MB.
MOST_BYTES = 100_000_000
SILENCE_S = 20.0
MOST_S = 120.0
_CHUNK_BYTES = 1 << 16

Outcome = Literal["fetched", "unchanged", "fresh"]


@dataclass(frozen=True, slots=True)
class Note:
    """What is remembered of the last asking; empty where the server named no state."""

    url: str
    checked_unix: float
    etag: str = ""
    last_modified: str = ""


@dataclass(frozen=True, slots=True)
class Fetched:
    """How the asking ended: new elements, the server has none newer, or the file is too fresh to ask.

    Attributes
    ----------
    objects
        Usable sets of elements in what was fetched; 0 where nothing was.
    rejected
        One message for each set that is not usable.
    age_s
        Since the server was last asked.
    """

    outcome: Outcome
    objects: int = 0
    rejected: tuple[str, ...] = ()
    age_s: float = 0.0


def fetch_elements(
    url: str,
    path: Path,
    max_age_s: float,
    now_unix: float,
    *,
    most_bytes: int = MOST_BYTES,
    silence_s: float = SILENCE_S,
    most_s: float = MOST_S,
) -> Fetched:
    """Bring a file of orbital elements up to date, unless it was within ``max_age_s``.

    Parameters
    ----------
    most_bytes, most_s
        What the answer may weigh and take.
    silence_s
        How long the server may send nothing.

    Raises
    ------
    RequestError
        If the address is none of http or https.
    SkyglintError
        If the server cannot be reached, refuses, sends too much, too slowly, or something that is no elements, or the
        file cannot be written. The old file then stays as it was.
    """
    check_url(url)
    note = read_note(path)
    known = note if note is not None and note.url == url and path.is_file() else None
    if known is not None and 0.0 <= now_unix - known.checked_unix < max_age_s:
        return Fetched("fresh", age_s=now_unix - known.checked_unix)
    try:
        with _open(url, known, silence_s) as answer:
            body = _read(answer, url, most_bytes, most_s)
            state = (answer.headers.get("ETag", ""), answer.headers.get("Last-Modified", ""))
    except urllib.error.HTTPError as error:
        with error:
            if error.code == http.client.NOT_MODIFIED and known is not None:
                _write(_note_path(path), _packed(Note(url, now_unix, known.etag, known.last_modified)))
                return Fetched("unchanged")
            later = error.headers.get("Retry-After")
            wait = f"; it asks to wait (Retry-After: {later})" if later else ""
            raise SkyglintError(f"{url}: the server answers {error.code} {error.reason}{wait}") from error
    except TimeoutError as error:
        raise SkyglintError(f"{url}: nothing came for {silence_s:g} s") from error
    except urllib.error.URLError as error:
        raise SkyglintError(f"{url}: cannot be reached: {error.reason}") from error
    except (OSError, http.client.HTTPException, ValueError) as error:
        raise SkyglintError(f"{url}: cannot be read: {error}") from error
    objects, rejected = _check(body, url)
    _write(path, body)
    _write(_note_path(path), _packed(Note(url, now_unix, *state)))
    return Fetched("fetched", objects, rejected)


def check_url(url: str) -> None:
    """Refuse an address that is not one of a web server.

    Raises
    ------
    RequestError
        With what was expected.
    """
    try:
        parts = urlsplit(url)
        valid = parts.scheme in ("http", "https") and bool(parts.hostname) and (parts.port is None or parts.port > 0)
    except ValueError:
        valid = False
    if not valid or any(not "!" <= letter <= "~" for letter in url):
        raise RequestError(f"{url}: expected an address that begins with http:// or https://")
    if "@" in parts.netloc:
        raise RequestError("the address holds a name or password: expected one without")


def read_note(path: Path) -> Note | None:
    """Return what is remembered of a file's last fetching; ``None`` for a file that was not fetched."""
    try:
        note = Note(**json.loads(_note_path(path).read_text(encoding="utf-8")))
        return Note(str(note.url), float(note.checked_unix), str(note.etag), str(note.last_modified))
    except (OSError, ValueError, TypeError):
        return None  # without a readable note everything is fetched anew, which costs no more than time


def _open(url: str, known: Note | None, silence_s: float) -> http.client.HTTPResponse:
    headers = {"User-Agent": f"Skyglint/{skyglint.__version__}"}
    if known is not None and known.etag:
        headers["If-None-Match"] = known.etag
    if known is not None and known.last_modified:
        headers["If-Modified-Since"] = known.last_modified
    opener = urllib.request.OpenerDirector()
    # No handlers of files and other kinds of address: a redirection must not lead there.
    for handler in (
        urllib.request.ProxyHandler(),
        urllib.request.HTTPHandler(),
        urllib.request.HTTPSHandler(),
        urllib.request.HTTPRedirectHandler(),
        urllib.request.HTTPDefaultErrorHandler(),
        urllib.request.HTTPErrorProcessor(),
        urllib.request.UnknownHandler(),
    ):
        opener.add_handler(handler)
    answer: http.client.HTTPResponse = opener.open(urllib.request.Request(url, headers=headers), timeout=silence_s)
    return answer


def _read(answer: http.client.HTTPResponse, url: str, most_bytes: int, most_s: float) -> bytes:
    end = time.monotonic() + most_s
    body = bytearray()
    while chunk := answer.read1(_CHUNK_BYTES):
        body += chunk
        if len(body) > most_bytes:
            raise SkyglintError(f"{url}: sends more than {most_bytes / 1e6:g} MB: that is not elements")
        if time.monotonic() > end:
            raise SkyglintError(f"{url}: not done after {most_s:g} s")
    stated = answer.headers.get("Content-Length", "")
    if stated.isdigit() and int(stated) != len(body):
        raise SkyglintError(f"{url}: broke off after {len(body)} of {stated} bytes")
    return bytes(body)


def _check(body: bytes, url: str) -> tuple[int, tuple[str, ...]]:
    """Return how many sets are usable, and the faults of the others."""
    try:
        found = parse_elements(body.decode("utf-8"), url)
    except UnicodeDecodeError as error:
        raise SkyglintError(f"{url}: not text in UTF-8 (byte {error.start}); expected OMM or two-line sets") from error
    except ValueError as error:
        raise SkyglintError(str(error)) from error
    if not found.elements:
        raise SkyglintError("\n".join([*found.rejected[:5], f"{url}: no usable orbital elements"]))
    return len(found.elements), found.rejected


def _note_path(path: Path) -> Path:
    return path.with_name(f"{path.name}.fetched")


def _packed(note: Note) -> bytes:
    return json.dumps(asdict(note)).encode()


def _write(path: Path, content: bytes) -> None:
    """Put a whole file in the place of the old one, or leave that as it was."""
    part = path.with_name(f"{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    except OSError as error:
        raise SkyglintError(f"{path}: cannot be written: {error.strerror}") from error
