"""USA: the public tables of the FCC's licensing system, ``.dat`` files joined by opaque identifiers.

The layout is documented by programs that read the real files; no real rows were at hand. Records are unquoted, fields
between bars, the first line names them, a record ends in ``|^|``.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from typing import Final

from skyglint.transmitters.fields import angle, checked, number
from skyglint.transmitters.listing import BadRow, Listing, NotTransmitter
from skyglint.transmitters.transmitter import Pattern, Transmitter

Row = dict[str, str]

TABLES: Final = (
    "facility",
    "application_facility",
    "license_filing_version",
    "app_location",
    "app_antenna",
    "app_antenna_frequency",
)
PATTERN_TABLE: Final = "app_antenna_field_value"
_LICENSED_STATUS: Final = {"LICEN", "LICSL", "LICRP"}
_SERVICES: Final = {"FM", "FX", "FL", "FB"}


def rows(lines: Iterable[str]) -> Iterator[tuple[int, Row]]:
    """Yield line number and fields by name of one table."""
    names: list[str] = []
    for line, text in enumerate(lines, start=1):
        fields = text.rstrip("\r\n").removesuffix("|^|").removesuffix("|^").split("|")
        if not names:
            names = [name.strip().lower() for name in fields]
        elif text.strip():
            yield line, dict(zip(names, (value.strip() for value in fields), strict=False))


def read(open_table: Callable[[str], Iterable[str]], source: str, dated: str = "") -> Listing:
    """Read the tables that ``open_table`` gives by name, and join them from the station to its site and power."""
    listing = Listing(source)
    facilities = {}
    for line, row in rows(open_table("facility")):
        if row.get("active_ind") != "Y" or row.get("facility_status") not in _LICENSED_STATUS:
            listing.set_aside["station not licensed"] += 1
        elif row.get("service_code") not in _SERVICES:
            listing.set_aside["other service"] += 1
        else:
            facilities[row["facility_id"]] = (line, row)
    applications = _by(rows(open_table("application_facility")), "afac_facility_id")
    active = {r["filing_version_id"] for _, r in rows(open_table("license_filing_version")) if r["active_ind"] == "Y"}
    locations = _by(rows(open_table("app_location")), "aloc_aapp_application_id")
    antennas = _by(rows(open_table("app_antenna")), "aant_aloc_loc_record_id")
    powers = _by(rows(open_table("app_antenna_frequency")), "aafq_aant_antenna_record_id")
    patterns = _by(rows(open_table(PATTERN_TABLE)), "aafv_aant_antenna_record_id")
    for identity, (line, facility) in facilities.items():
        try:
            application = _application(applications[identity], facility, active)
            location = _only(locations[application], "a location")
            antenna = _only(antennas[location["aloc_loc_record_id"]], "an antenna")
            power = _only(powers[antenna["aant_antenna_record_id"]], "a power")
            pattern = patterns[antenna["aant_antenna_record_id"]]
            listing.transmitters.append(_transmitter(facility, location, antenna, power, pattern, source, dated, line))
        except NotTransmitter as kind:
            listing.set_aside[str(kind)] += 1
        except BadRow as reason:
            listing.reject(line, f"{facility.get('callsign', '')}: {reason}")
    return listing


def _by(table: Iterable[tuple[int, Row]], key: str) -> defaultdict[str, list[Row]]:
    grouped: defaultdict[str, list[Row]] = defaultdict(list)
    for _, row in table:
        grouped[row.get(key, "")].append(row)
    return grouped


def _application(candidates: list[Row], facility: Row, active: set[str]) -> str:
    wanted = facility.get("license_filing_id", "")
    for row in candidates:
        if row.get("afac_license_filing_id") == wanted and row.get("afac_application_id") in active:
            return row["afac_application_id"]
    raise NotTransmitter("no licence in force")


def _only(found: list[Row], what: str) -> Row:
    if not found:
        raise BadRow(f"nothing joins it to {what}")
    return found[0]


def _transmitter(
    facility: Row, location: Row, antenna: Row, power: Row, pattern: list[Row], source: str, dated: str, line: int
) -> Transmitter:
    latitude, longitude = (
        angle(
            location.get(f"aloc_{axis}_deg", ""),
            location.get(f"aloc_{axis}_mm", ""),
            location.get(f"aloc_{axis}_ss", ""),
            location.get(f"aloc_{axis}_dir", ""),
            name,
        )
        for axis, name in (("lat", "latitude"), ("long", "longitude"))
    )
    frequency = number(facility.get("frequency", ""), "frequency") * 1e6
    horizontal, vertical = (
        number(power.get(f"aafq_{axis}_erp_kw", ""), "power", missing=0.0) * 1e3 for axis in ("horiz", "vert")
    )
    checked(frequency, latitude, longitude, horizontal, vertical)
    return Transmitter(
        name=facility.get("callsign", ""),
        frequency_hz=round(frequency),
        kind="fm",
        latitude_deg=latitude,
        longitude_deg=longitude,
        erp_horizontal_w=horizontal,
        erp_vertical_w=vertical,
        antenna_height_m=_largest(antenna, "aant_horiz_rc_hgt", "aant_vert_rc_hgt"),
        height_m=_largest(antenna, "aant_horiz_rc_amsl", "aant_vert_rc_amsl"),
        directional=bool(pattern),
        pattern=_pattern(pattern, number(antenna.get("aant_rotation_deg", ""), "rotation", missing=0.0)),
        place=", ".join(
            filter(None, (facility.get("community_served_city", ""), facility.get("community_served_state", "")))
        ),
        country="US",
        facility=facility["facility_id"],
        source=source,
        dated=dated,
        line=line,
    )


def _largest(row: Row, *keys: str) -> float:
    stated = [number(row.get(key, ""), key) for key in keys]
    used = [height for height in stated if not math.isnan(height) and height != 0]
    return max(used) if used else math.nan


def _pattern(points: list[Row], rotation_deg: float) -> Pattern | None:
    pairs = sorted(
        (
            (number(row.get("aafv_azimuth", ""), "azimuth") + rotation_deg) % 360.0,
            number(row.get("aafv_field_value", ""), "relative field"),
        )
        for row in points
    )
    return Pattern(tuple(a for a, _ in pairs), tuple(f for _, f in pairs)) if pairs else None
