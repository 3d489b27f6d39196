"""Canada: the broadcast data extract, dBase tables (FMSTATIO, and the patterns APATSTAT, APATDESC, APATDAT).

The layout is that of the department's own user manual v1.0; no real rows were at hand. Powers are in watts, longitude
is positive towards the west, both coordinates are packed ``dddmmss``. Foreign stations are in the file too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import Final

from skyglint.transmitters.dbase import records
from skyglint.transmitters.fields import checked, compact_angle, number
from skyglint.transmitters.listing import BadRow, Listing, NotTransmitter
from skyglint.transmitters.transmitter import Pattern, Status, Transmitter

Row = dict[str, str]

_STATUS: Final[dict[str, Status]] = {"OP": "licensed", "TO": "licensed", "AU": "planned", "CP": "planned"}
_AUXILIARY: Final = "AX"


def read(open_table: Callable[[str], bytes | None], source: str, dated: str = "") -> Listing:
    """Read the station table and, where ``open_table`` has them, the pattern tables."""
    listing = Listing(source)
    patterns = _patterns(open_table)
    for line, row in records(open_table("FMSTATIO") or b"", f"{source}: FMSTATIO"):
        try:
            listing.transmitters.append(_transmitter(row, patterns, source, dated, line))
        except NotTransmitter as kind:
            listing.set_aside[str(kind)] += 1
        except BadRow as reason:
            listing.reject(line, str(reason))
    return listing


def _transmitter(row: Row, patterns: dict[str, Pattern], source: str, dated: str, line: int) -> Transmitter:
    banner = row.get("BANNER", "").upper()
    if banner != _AUXILIARY and banner not in _STATUS:
        raise NotTransmitter(f"banner {banner or 'blank'}")
    frequency = number(row.get("FREQUENCY", ""), "FREQUENCY") * 1e6
    latitude = compact_angle(_stated(row, "LATITUDE"), "LATITUDE")
    longitude = (180.0 - compact_angle(_stated(row, "LONGITUDE"), "LONGITUDE")) % 360.0 - 180.0
    horizontal, vertical = (_peak(row, axis) for axis in "HV")
    checked(frequency, latitude, longitude, horizontal, vertical)
    call = row.get("CALL_SIGN", "")
    pattern = patterns.get((call + banner).upper())
    return Transmitter(
        name=call,
        frequency_hz=round(frequency),
        kind="fm",
        latitude_deg=latitude,
        longitude_deg=longitude,
        erp_horizontal_w=horizontal,
        erp_vertical_w=vertical,
        antenna_height_m=_above_ground(row),
        height_m=_nonzero(number(row.get("RAD_CENTER", ""), "RAD_CENTER")),
        directional=row.get("ANT_MODE", "").upper() == "D",
        pattern=pattern,
        place=", ".join(filter(None, (row.get("CITY", ""), row.get("PROVINCE", "")))),
        country="CA" if row.get("CLASS", "").upper() in {"A1", "LP", "VLP"} or call[:1] in {"C", "V"} else "",
        status="auxiliary" if banner == _AUXILIARY else _STATUS[banner],
        source=source,
        dated=dated,
        line=line,
    )


def _stated(row: Row, key: str) -> float:
    value = number(row.get(key, ""), key)
    if math.isnan(value):
        raise BadRow(f"{key} is missing")
    return value


def _peak(row: Row, axis: str) -> float:
    average = number(row.get(f"ERP{axis}AV", ""), f"ERP{axis}AV", missing=0.0)
    return max(number(row.get(f"ERP{axis}PK", ""), f"ERP{axis}PK", missing=0.0), average)


def _nonzero(value: float) -> float:
    return value if value != 0 else math.nan


def _above_ground(row: Row) -> float:
    height = number(row.get("RAD_CENTER", ""), "RAD_CENTER") - number(row.get("GROUND_LEV", ""), "GROUND_LEV")
    return height if height > 0 else math.nan


def _patterns(open_table: Callable[[str], bytes | None]) -> dict[str, Pattern]:
    """Return the patterns by call sign and banner; gains are in dB relative to the peak power."""
    stations, points = open_table("APATSTAT"), open_table("APATDAT")
    if stations is None or points is None:
        return {}
    by_key: dict[str, list[tuple[float, float]]] = {}
    for _, row in records(points, "APATDAT"):
        pair = (number(row.get("ANGLE", ""), "ANGLE"), number(row.get("GAIN", ""), "GAIN"))
        by_key.setdefault(row.get("PATT_KEY", ""), []).append(pair)
    return {
        _station_key(row): _as_field(sorted(by_key[row["PATT_KEY"]]))
        for _, row in records(stations, "APATSTAT")
        if row.get("PATT_KEY") in by_key
    }


def _station_key(row: Row) -> str:
    keys: Iterable[str] = (value for label, value in row.items() if label != "PATT_KEY")
    return "".join(next(iter(keys), "").split()).upper()


def _as_field(points: list[tuple[float, float]]) -> Pattern:
    return Pattern(tuple(a for a, _ in points), tuple(10 ** (gain_db / 20) for _, gain_db in points))
