"""Measured levels as a CSV file: read, checked row by row, and written."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from skyglint.errors import RequestError
from skyglint.utc import format_utc, parse_utc

COLUMNS: Final = ("start_utc", "frequency_hz", "level_dbm", "level_sd_db", "transmitter", "limit")
NEEDED: Final = COLUMNS[:3]

#: Standard error of a level whose row states none (common practice for a USB receiver).
USUAL_SD_DB: Final = 3.0

_FREQUENCIES_HZ: Final = (1e6, 30e9)
_LEVELS_DBM: Final = (-220.0, 40.0)


@dataclass(frozen=True, slots=True)
class Level:
    """The power received in one channel, the antenna's gain included.

    Attributes
    ----------
    start_unix, frequency_hz
        When and where.
    level_dbm, sd_db
        The level and its standard error.
    transmitter
        Name of the transmitter it belongs to; empty when unknown.
    is_limit
        Whether ``level_dbm`` is an upper limit.
    """

    start_unix: float
    frequency_hz: float
    level_dbm: float
    sd_db: float = USUAL_SD_DB
    transmitter: str = ""
    is_limit: bool = False


@dataclass(frozen=True, slots=True)
class LevelFile:
    """Good rows, and one sentence for each bad one."""

    levels: tuple[Level, ...]
    rejections: tuple[str, ...]


def read_levels(path: Path) -> LevelFile:
    """Read a file of levels; bad rows are left out and explained.

    Raises
    ------
    RequestError
        If it cannot be read, has no header with the needed columns, or not one good row.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError as error:
        raise RequestError(f"{path}: no such file of levels") from error
    except UnicodeDecodeError as error:
        raise RequestError(f"{path}: not a text file in UTF-8 (byte {error.start}); expected CSV") from error
    except OSError as error:
        raise RequestError(f"{path}: cannot be read: {error.strerror}") from error
    return parse_levels(io.StringIO(text, newline=""), str(path))


def parse_levels(lines: Iterable[str], name: str) -> LevelFile:
    """Read the lines of a CSV file whose header has the columns of ``NEEDED``, in any order; others are optional.

    Raises
    ------
    RequestError
        If the header lacks columns, or there is not one good row.
    """
    reader = csv.reader(lines)
    header = [column.strip().lower() for column in next(reader, [])]
    missing = [column for column in NEEDED if column not in header]
    if missing:
        raise RequestError(f"{name}: line 1: the header lacks {', '.join(missing)}: expected {', '.join(COLUMNS)}")
    levels, rejections = [], []
    try:
        for fields in reader:
            if not any(field.strip() for field in fields):
                continue
            try:
                levels.append(_level(dict(zip(header, fields, strict=False))))
            except ValueError as reason:
                rejections.append(f"{name}: line {reader.line_num}: {reason}")
    except csv.Error as error:
        raise RequestError(f"{name}: line {reader.line_num}: not CSV: {error}") from error
    if not levels:
        raise RequestError("\n".join([*rejections, f"{name}: holds not one usable level"]))
    return LevelFile(tuple(levels), tuple(rejections))


def write_levels(levels: Sequence[Level]) -> str:
    """Return levels as the text of a CSV file."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for one in levels:
        writer.writerow(
            [
                format_utc(one.start_unix, 0),
                f"{one.frequency_hz:.0f}",
                f"{one.level_dbm:.1f}",
                f"{one.sd_db:.1f}",
                one.transmitter,
                int(one.is_limit),
            ]
        )
    return text.getvalue()


def _level(row: dict[str, str]) -> Level:
    start_unix = parse_utc(row["start_utc"])
    sd_text = row.get("level_sd_db", "").strip()
    sd_db = _number(sd_text, "level_sd_db", (0.0, 60.0)) if sd_text else USUAL_SD_DB
    limit = row.get("limit", "").strip()
    if limit not in ("", "0", "1"):
        raise ValueError(f"limit is {limit!r}: expected 1 for an upper limit, else 0 or empty")
    return Level(
        start_unix,
        _number(row.get("frequency_hz", ""), "frequency_hz", _FREQUENCIES_HZ),
        _number(row.get("level_dbm", ""), "level_dbm", _LEVELS_DBM),
        sd_db,
        row.get("transmitter", "").strip(),
        limit == "1",
    )


def _number(text: str, what: str, between: tuple[float, float]) -> float:
    expected = f"expected a number from {between[0]:g} to {between[1]:g}"
    try:
        value = float(text)
    except ValueError:
        raise ValueError(f"{what} is {text.strip()!r}: {expected}") from None
    if not (math.isfinite(value) and between[0] <= value <= between[1]):
        raise ValueError(f"{what} is {text.strip()}: {expected}")
    return value
