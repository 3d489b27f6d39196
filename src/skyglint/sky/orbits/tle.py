"""Two-line element sets, with the name line above or without, and with Alpha-5 catalogue numbers."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime

from skyglint.sky.orbits.elements import Elements, ElementsFile, check_ranges

#: Alpha-5: the first digit of a six-digit number as a letter, I and O left out (A = 10 ... Z = 33).
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
_COLUMNS = 69


def read_tle(text: str, source: str) -> ElementsFile:
    """Read two-line sets; ``source`` stands in the messages."""
    elements: list[Elements] = []
    rejected: list[str] = []
    for number, name, first, second in _sets(text):
        try:
            elements.append(_parse(name, first, second))
        except ValueError as error:
            rejected.append(f"{source}, line {number}: {error}")
    return ElementsFile(tuple(elements), tuple(rejected))


def catalog_number(field: str) -> int:
    """Return the catalogue number of a five-character field, plain or Alpha-5.

    Examples
    --------
    >>> catalog_number("25544"), catalog_number("A0000"), catalog_number("Z9999")
    (25544, 100000, 339999)
    """
    if re.fullmatch(rf"[{_LETTERS}]\d{{4}}", field):
        return (_LETTERS.index(field[0]) + 10) * 10_000 + int(field[1:])
    if not re.fullmatch(r" *\d+", field):
        raise ValueError(f"catalogue number {field!r}: expected digits, or a letter (not I or O) and four digits")
    return int(field)


def checksum(line: str) -> int:
    """Return the sum of a line's digits, minus signs counting 1, modulo 10, over its first 68 columns."""
    return sum(int(sign) if sign.isdigit() else sign == "-" for sign in line[: _COLUMNS - 1]) % 10


def _sets(text: str) -> Iterator[tuple[int, str, str, str]]:
    """Yield the number of line 1, the name and both lines of each set."""
    lines = [line.rstrip() for line in text.splitlines()]
    for index, line in enumerate(lines):
        if not line.startswith("1 "):
            continue
        second = lines[index + 1] if index + 1 < len(lines) else ""
        above = lines[index - 1] if index else ""
        name = "" if above.startswith("2 ") and len(above) >= _COLUMNS else above.removeprefix("0 ").strip()
        yield index + 1, name, line, second


def _parse(name: str, first: str, second: str) -> Elements:
    if not second.startswith("2 "):
        raise ValueError(f"line 1 of a set is followed by {second[:20]!r}: expected its line 2")
    for which, line in (("1", first), ("2", second)):
        if len(line) < _COLUMNS:
            raise ValueError(f"line {which} has {len(line)} characters: expected {_COLUMNS}")
        if line[_COLUMNS - 1] != str(checksum(line)):
            raise ValueError(f"line {which} ends with checksum {line[_COLUMNS - 1]!r}: expected {checksum(line)}")
    if first[2:7] != second[2:7]:
        raise ValueError(f"line 1 is of object {first[2:7]} and line 2 of {second[2:7]}")
    number = catalog_number(first[2:7])
    elements = Elements(
        name=name or str(number),
        catalog_number=number,
        object_id=_object_id(first[9:17].strip()),
        epoch_unix=_epoch_unix(first[18:32]),
        mean_motion_rev_day=_number(second[52:63], "mean motion"),
        eccentricity=_number("0." + second[26:33].strip(), "eccentricity"),
        inclination_deg=_number(second[8:16], "inclination"),
        node_deg=_number(second[17:25], "node"),
        perigee_deg=_number(second[34:42], "argument of perigee"),
        mean_anomaly_deg=_number(second[43:51], "mean anomaly"),
        bstar_per_radius=_pointless(first[53:61]),
    )
    if wrong := check_ranges(elements):
        raise ValueError(wrong)
    return elements


def _object_id(designator: str) -> str:
    """Return ``98067A`` as ``1998-067A``."""
    if not re.fullmatch(r"\d{5}[A-Z]{1,3}", designator):
        return designator
    return f"{_year(int(designator[:2]))}-{designator[2:]}"


def _epoch_unix(field: str) -> float:
    found = re.fullmatch(r"(\d\d)([ \d]\d[ \d]|[ \d]{2}\d)(\.\d*)", field.strip())
    if not found or not 1 <= int(found[2]) <= 366:
        raise ValueError(f"epoch {field!r}: expected year and day, like 26324.51782528")
    start = datetime(_year(int(found[1])), 1, 1, tzinfo=UTC).timestamp()
    return start + (int(found[2]) - 1) * 86_400.0 + float("0" + found[3]) * 86_400.0


def _year(two_digits: int) -> int:
    return two_digits + (1900 if two_digits >= 57 else 2000)


def _pointless(field: str) -> float:
    """Return a number like `` 28098-4``, which is 0.28098e-4."""
    found = re.fullmatch(r"\s*([+-]?)\.?\s*(\d+)([+-]\d)\s*", field)
    if not found:
        raise ValueError(f"drag term {field!r}: expected a number like ' 28098-4'")
    return float(f"{found[1]}0.{found[2]}e{found[3]}")


def _number(field: str, what: str) -> float:
    try:
        return float(field)
    except ValueError as error:
        raise ValueError(f"{what} {field!r}: expected a number") from error
