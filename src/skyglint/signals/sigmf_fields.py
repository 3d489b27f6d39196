"""The fields of SigMF metadata, read with a message for each that cannot be meant."""

from __future__ import annotations

import json
import re
from typing import Any

from skyglint.errors import SourceError
from skyglint.signals.options import UNIX, shown
from skyglint.utc import parse_utc

Table = dict[str, Any]


def parse_metadata(data: bytes, where: str) -> Table:
    """Return the metadata that a file holds.

    Raises
    ------
    SourceError
        If it is no JSON object in UTF-8.
    """
    try:
        meta = json.loads(data.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise SourceError(f"{where}: not text in UTF-8 (byte {error.start}); expected SigMF metadata") from error
    except json.JSONDecodeError as error:
        raise SourceError(
            f"{where}: not valid JSON (line {error.lineno}, column {error.colno}: {error.msg}); expected SigMF metadata"
        ) from error
    except (RecursionError, ValueError) as error:
        # Nested too deep, or a number of thousands of digits.
        raise SourceError(f"{where}: JSON beyond all reason; expected SigMF metadata") from error
    if not isinstance(meta, dict):
        raise SourceError(f"{where}: expected a JSON object with global and captures, found {type(meta).__name__}")
    return meta


def table_of(meta: Table, key: str, where: str) -> Table:
    """Return an object within another.

    Raises
    ------
    SourceError
        If it is missing or something else.
    """
    table = meta.get(key)
    if not isinstance(table, dict):
        raise SourceError(f"{where}: {key} is missing or no object; expected SigMF metadata")
    return table


def tables_of(meta: Table, key: str, where: str) -> list[Table]:
    """Return a list of objects, empty where it is missing.

    Raises
    ------
    SourceError
        If it is something else.
    """
    items = meta.get(key, [])
    if not isinstance(items, list) or not all(isinstance(item, dict) for item in items):
        raise SourceError(f"{where}: {key}: expected a list of objects")
    return items


def count_of(table: Table, key: str, where: str) -> int:
    """Return a count of samples or bytes, 0 where it is missing.

    Raises
    ------
    SourceError
        If it is no whole number that can be meant.
    """
    value = table.get(key, 0)
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 1 << 63:
        raise SourceError(f"{where}: {key} = {shown(value)}: expected a whole number from 0 to 2^63")
    return value


def time_of(text: object, where: str) -> tuple[float | None, float]:
    """Return POSIX seconds of a ``core:datetime`` and its last printed digit in seconds; ``None`` for none.

    Raises
    ------
    SourceError
        If it is no UTC time that can be meant.
    """
    if text is None:
        return None, 0.0
    expected = "expected a UTC time like 2026-08-13T02:00:00.000Z"
    if not isinstance(text, str):
        raise SourceError(f"{where}: core:datetime = {shown(text)}: {expected}")
    try:
        unix = parse_utc(text)
    except (ValueError, OverflowError) as error:
        raise SourceError(f"{where}: core:datetime = {shown(text)}: {expected}") from error
    if not UNIX[0] <= unix <= UNIX[1]:
        raise SourceError(f"{where}: core:datetime = {shown(text)}: expected a time between 1970 and 2200")
    digits = re.search(r"[.,](\d+)", text)
    return unix, 10.0 ** -len(digits[1]) if digits else 1.0
