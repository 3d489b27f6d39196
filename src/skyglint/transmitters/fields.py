"""Numbers, angles and grid references as the public lists write them; each raises :class:`BadRow` with the reason."""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import Any, Final

from skyglint.transmitters.listing import BadRow

#: No licence anywhere states more; a larger figure is a slipped decimal.
LARGEST_ERP_W: Final = 10e6
_FREQUENCIES_HZ: Final = (20e6, 1.5e9)
_MISSING: Final = {"", "-", "--"}
_UNITS: Final = {"m", "kW", "W", "MHz", "deg"}  # a unit that stands alone follows a missing number


def number(text: str, what: str, *, missing: float = math.nan) -> float:
    """Return the number at the start of a field, its unit ignored; ``missing`` where the field is blank or a dash."""
    words = text.split()
    if not words or words[0] in _MISSING or words[0] in _UNITS:
        return missing
    try:
        value = float(words[0])
    except ValueError:
        raise BadRow(f"{what} is {text.strip()!r}: expected a number") from None
    if not math.isfinite(value):
        raise BadRow(f"{what} is {text.strip()!r}: expected a finite number")
    return value


def checked(
    frequency_hz: float, latitude_deg: float, longitude_deg: float, erp_horizontal_w: float, erp_vertical_w: float
) -> None:
    """Raise :class:`BadRow` if a record's numbers cannot be those of a transmitter."""
    if not _FREQUENCIES_HZ[0] <= frequency_hz <= _FREQUENCIES_HZ[1]:
        raise BadRow(f"frequency is {frequency_hz / 1e6:g} MHz: expected 20 to 1500")
    if not -90 <= latitude_deg <= 90:
        raise BadRow(f"latitude is {latitude_deg:g}: expected -90 to 90 degrees")
    if not -180 <= longitude_deg <= 180:
        raise BadRow(f"longitude is {longitude_deg:g}: expected -180 to 180 degrees")
    for power in (erp_horizontal_w, erp_vertical_w):
        if not 0 <= power <= LARGEST_ERP_W:
            raise BadRow(f"power is {power:g} W: expected 0 to {LARGEST_ERP_W:g}")
    if erp_horizontal_w + erp_vertical_w <= 0:
        raise BadRow("no power is stated")


def angle(degrees: str, minutes: str, seconds: str, hemisphere: str, what: str) -> float:
    """Return degrees, minutes, seconds and a letter as signed decimal degrees."""
    letter = hemisphere.strip().upper()
    if letter not in {"N", "S", "E", "W"}:
        raise BadRow(f"{what} has the direction {hemisphere.strip()!r}: expected N, S, E or W")
    parts = [number(part, what, missing=0.0) for part in (degrees, minutes, seconds)]
    if not degrees.strip():
        raise BadRow(f"{what} is missing")
    if not (0 <= parts[1] < 60 and 0 <= parts[2] < 60):
        raise BadRow(f"{what} is {degrees.strip()} {minutes.strip()} {seconds.strip()}: minutes and seconds go to 59")
    value = parts[0] + parts[1] / 60 + parts[2] / 3600
    return -value if letter in "SW" else value


def compact_angle(value: float, what: str) -> float:
    """Return degrees from one number ``dddmmss``, its sign kept."""
    whole = abs(value)
    degrees, rest = divmod(whole, 10_000)
    minutes, seconds = divmod(rest, 100)
    if minutes >= 60 or seconds >= 60:
        raise BadRow(f"{what} is {value:g}: minutes and seconds go to 59")
    return math.copysign(degrees + minutes / 60 + seconds / 3600, value)


_SPACED = re.compile(r"^\s*(-?)(\d{1,3})[ °](\d{1,2})[ ′'](\d{1,2}(?:\.\d+)?)[″\"]?\s*([NSEWnsew]?)\s*$")


def spaced_angle(text: str, what: str) -> float:
    """Return degrees from ``34 50 07S``, ``-33 50 22`` or a plain decimal number."""
    if found := _SPACED.match(text):
        sign, degrees, minutes, seconds, letter = found.groups()
        value = angle(degrees, minutes, seconds, letter or "N", what)
        return -value if sign else value
    value = number(text, what)
    if math.isnan(value):
        raise BadRow(f"{what} is missing")
    return value


_GRID_LETTERS = "ABCDEFGHJKLMNOPQRSTUVWXYZ"  # the national grid leaves out I


@lru_cache(maxsize=1)
def _national_grid() -> Any:
    from pyproj import Transformer

    return Transformer.from_crs("EPSG:27700", "EPSG:4326")


def grid_reference(text: str) -> tuple[float, float]:
    """Return latitude and longitude of a British national grid reference: two letters and an even number of digits.

    The place is the middle of the square that the digits name. Layout: Ordnance Survey, A guide to coordinate systems
    in Great Britain, sec. 7.
    """
    plain = re.sub(r"\s", "", text).upper()
    found = re.match(r"^([A-HJ-Z])([A-HJ-Z])(\d*)$", plain)
    if not found or len(found[3]) % 2 or len(found[3]) > 10:
        raise BadRow(f"grid reference is {text.strip()!r}: expected two letters and an even number of digits")
    first, second = (_GRID_LETTERS.index(letter) for letter in found.groups()[:2])
    half = len(found[3]) // 2
    unit = 10 ** (5 - half)
    digits = (found[3][:half], found[3][half:])
    corner_e = ((first - 2) % 5) * 500_000 + (second % 5) * 100_000
    corner_n = 1_900_000 - (first // 5) * 500_000 - (second // 5) * 100_000
    easting = corner_e + int(digits[0] or 0) * unit + unit / 2
    northing = corner_n + int(digits[1] or 0) * unit + unit / 2
    if not (0 <= easting <= 700_000 and 0 <= northing <= 1_300_000):
        raise BadRow(f"grid reference is {text.strip()!r}: outside the national grid")
    latitude, longitude = _national_grid().transform(easting, northing)
    return float(latitude), float(longitude)


def program_identification(text: str) -> str:
    """Return an RDS PI code as four upper-case hex digits, or empty where none is stated."""
    code = text.strip().upper()
    if code in _MISSING:
        return ""
    if not re.match(r"^[0-9A-F]{4}$", code):
        raise BadRow(f"RDS PI is {text.strip()!r}: expected four hex digits")
    return code
