"""Opening a list: which layout is it, and which reader reads it."""

from __future__ import annotations

import io
import zipfile
import zlib
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from skyglint.errors import RequestError
from skyglint.transmitters import acma, fcc_tables, fcc_text, ised, ofcom, own_csv
from skyglint.transmitters.csv_rows import plain
from skyglint.transmitters.listing import Listing

_HEAD_LINES: Final = 50


def read_list(path: Path) -> Listing:
    """Read a transmitter list in any layout that this room knows, told by its content.

    A file may be the text of the FCC's FM Query, our own CSV, the British or the Australian CSV, a dBase station table;
    a directory or a zip archive may hold the FCC's licensing tables or the Canadian extract. Lists carry the file's
    date, so that their age can be shown.

    Raises
    ------
    RequestError
        If the file cannot be read or is in none of these layouts.
    """
    try:
        dated = datetime.fromtimestamp(path.stat().st_mtime, UTC).date().isoformat()
        if path.is_dir():
            members = {item.name.lower(): item for item in path.iterdir() if item.is_file()}
            return _read_tables({name: item.read_bytes for name, item in members.items()}, path.name, dated)
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as archive:
                names = {Path(name).name.lower(): name for name in archive.namelist() if not name.endswith("/")}
                return _read_tables({short: _member(archive, name) for short, name in names.items()}, path.name, dated)
        if path.suffix.lower() == ".dbf":
            return ised.read(lambda table: path.read_bytes() if table == "FMSTATIO" else None, path.name, dated)
        return _read_text(path.read_bytes(), path.name, dated)
    except FileNotFoundError as error:
        raise RequestError(f"{path}: no such transmitter list") from error
    except OSError as error:
        raise RequestError(f"{path}: cannot be read: {error.strerror or error}") from error
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError) as error:
        raise RequestError(f"{path}: a damaged or locked zip archive: {error}") from error


def _member(archive: zipfile.ZipFile, name: str) -> Callable[[], bytes]:
    return lambda: archive.read(name)


def _read_tables(members: dict[str, Callable[[], bytes]], source: str, dated: str) -> Listing:
    if "fmstatio.dbf" in members:

        def table(name: str) -> bytes | None:
            member = members.get(f"{name.lower()}.dbf")
            return member() if member else None

        return ised.read(table, source, dated)
    if "facility.dat" in members:
        missing = [f"{name}.dat" for name in fcc_tables.TABLES if f"{name}.dat" not in members]
        if missing:
            raise RequestError(f"{source}: the licensing tables lack {', '.join(missing)}")

        def lines(name: str) -> Iterable[str]:
            member = members.get(f"{name}.dat")
            return _decoded(member()).splitlines() if member else []

        return fcc_tables.read(lines, source, dated)
    raise RequestError(f"{source}: holds neither fmstatio.dbf nor facility.dat: not a list of a known layout")


def _read_text(data: bytes, source: str, dated: str) -> Listing:
    text = _decoded(data)
    head = [line for line in text.splitlines()[: _HEAD_LINES * 2] if line.strip()][:_HEAD_LINES]
    if head and head[0].startswith("|"):
        return fcc_text.read(io.StringIO(text), source, dated)
    names = {plain(name) for line in head for name in line.split(",")}
    for needed, read in ((own_csv.NEEDED, own_csv.read), (ofcom.NEEDED, ofcom.read), (acma.NEEDED, acma.read)):
        if {plain(name) for name in needed} <= names:
            return read(io.StringIO(text, newline=""), source, dated)
    raise RequestError(
        f"{source}: not a list of a known layout; a CSV file needs a header line with the columns "
        f"{', '.join(own_csv.NEEDED)}"
    )


def _decoded(data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode(ofcom.ENCODING, "replace")
